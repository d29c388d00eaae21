"""What a person does next: order, next steps, search; frames in, frames out."""
