"""What a figure shows, cut and projected from results: numbers only, nothing is drawn."""
