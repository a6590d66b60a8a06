"""Where samples come from: recordings, and whatever else delivers `drivers.contracts.Block`."""
