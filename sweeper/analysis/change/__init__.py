"""What moved in time: before and after a fix, changes found, household and sky, seasons."""
