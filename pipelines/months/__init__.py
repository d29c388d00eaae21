"""Month end: decided, ruled, approved, paid, accrued, open and reserve; frames in, frames out."""
