"""The stream network: which reach flows into which, how far apart places are along it, what lies upstream."""
