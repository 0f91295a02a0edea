"""The pages of the window, one for each part of the job."""
