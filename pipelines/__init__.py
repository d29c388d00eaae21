"""From exports to decisions, figures and pages; each stage is a package of its own."""
