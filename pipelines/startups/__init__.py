"""Start-up reviews, treatment recommendations and journeys: frames in, frames out."""
