"""From scores of samples to the condition of sites, reaches and sub-watersheds."""
