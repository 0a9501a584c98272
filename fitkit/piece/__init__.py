"""The thing: design, openings, build-up."""
