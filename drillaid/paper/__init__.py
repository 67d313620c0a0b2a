"""Pages in millimetres, written as PDF or SVG: reports and sheets at true scale."""
