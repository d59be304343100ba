"""What happened, in order, and who is told of it: changes and webhooks."""
