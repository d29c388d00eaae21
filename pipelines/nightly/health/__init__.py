"""What is wrong with a workspace, each matter with its way out; looks, and writes nothing."""
