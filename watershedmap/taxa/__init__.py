"""Names of animals: what is known of them, and what a name on a tally sheet stands for."""

from __future__ import annotations

from watershedmap.taxa.lookup import resolve
from watershedmap.taxa.tables import load_taxa

__all__ = ["load_taxa", "resolve"]
