"""The pages of the bench's stage: the overview of a rig and one page for each step of making it."""
