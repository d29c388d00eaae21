"""What notes, parts and start-up readings say of the cause of a call; it decides nothing."""
