"""What the shop does: plain functions whose first argument is a session."""
