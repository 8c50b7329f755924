"""What the views say: snapshots become plain texts here, without any screen code."""
