"""Names of animals: what is known of them, and what a name on a tally sheet stands for.

Rules, each with a test in `tests/taxa/test_rules.py`; common practice unless a source is named.

- Larva, pupa and adult of one taxon are one taxon: words for the stage are no part of the name.
- A name is kept at the level of the record. What a species lacks it takes from its genus, a genus from its
  subfamily or family: tolerance and BMWP score never come from above the family, the group of the streamside
  rating does, since it is stated for orders.
- An order recorded without a family stays an order: it counts in totals, percentages and EPT, has no
  tolerance value of the family table, and is no taxon of its own beside a family of it (see `parent`).
- A damaged or indeterminate animal ("damaged", "indet.") counts at the rank that is known.
- A terrestrial stray, called so on the sheet, is left out of every metric, with the reason. No family is
  taken for terrestrial unless the sheet, or the user's own table, says so.
- Empty shells and cases, cast skins, eggs and resting stages, and fragments are no animals: left out too,
  with the reason.
- A count of 0 is "looked for, none found": it makes no taxon and adds nothing.
- A common name stands for the lowest taxon that holds all that field keys call so: a stonefly is the order
  Plecoptera, a water penny the family Psephenidae.
- A row of the user's own table takes the place of ours cell by cell; a blank cell leaves ours. It is marked
  with origin `survey`, and its values name file and row as their source.

Tables and their sources: `watershedmap.taxa.tables`.
"""

from __future__ import annotations

from watershedmap.taxa.lookup import make_lookup, resolve
from watershedmap.taxa.tables import TOLERANCES, load_taxa

__all__ = ["TOLERANCES", "load_taxa", "make_lookup", "resolve"]
