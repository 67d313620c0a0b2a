"""`drillaid calibrate …`: what a rig file is made by, one module for each step."""
