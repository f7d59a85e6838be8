"""What may be asked of the daemon, and how: models, client, server."""
