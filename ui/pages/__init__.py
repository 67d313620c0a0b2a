"""Pages beside the way through a job: boards done, settings, help."""
