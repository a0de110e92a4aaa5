"""The job folder, and one module per stage of the job."""
