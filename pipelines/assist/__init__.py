"""What helps a person and decides nothing: causes from notes, second opinions, payments."""
