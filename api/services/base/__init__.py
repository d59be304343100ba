"""What every use case stands on: recording, kept texts, units, files, pictures."""
