"""One module for each stage of the job, in the order of the work."""
