"""What answers on a receiver's wire: one file a family of protocols, one table a model."""
