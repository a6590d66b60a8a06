"""What answers on a relay board's wire: one file a family of protocols."""
