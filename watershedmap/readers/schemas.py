"""Column schemas of open hydrography: a table of which column of a known layer is which of ours.

A schema is recognised by its column of ids together with its columns of topology, upper and lower case
alike. Columns that `survey.toml` names always win: a schema is not used when another column of ids is
named, and none of its topology when a column of topology is named that is not the schema's own. A column
that bears our own name is ours. Each row of the register says where its column names come from: *seen* in a
file of the publisher, or *from memory* of the published description.

Sources: HydroRIVERS and HydroBASINS (Lehner and Grill 2013, Hydrol. Process. 27:2171-2186); MERIT-Basins
(Lin et al. 2019, Water Resour. Res. 55:6499-6516); the River Environment Classification of New Zealand
(Snelder and Biggs 2002, J. Am. Water Resour. Assoc. 38:1225-1239); NHDPlus (US EPA and USGS); OS Open
Rivers (Ordnance Survey); the route table of the US National Water Model (NOAA); the multi-scale ottocoded
base of Brazil (ANA).

Known bias: a layer whose columns were renamed, or cut to ten letters by a shapefile, is not recognised.
Areas of the New Zealand layers are not taken, for their unit differs from version to version. NetCDF, in
which the route table comes, is not read: save it as CSV.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

TOPOLOGY = ("downstream_id", "from_node", "to_node", "nested_code")
"""Our columns that say what flows into what."""


@dataclass(frozen=True, slots=True)
class Schema:
    """The columns of one published layer."""

    name: str
    """What the layer is called; empty for no published one."""
    layer: str
    """`reaches` or `subwatersheds`."""
    key: Mapping[str, str]
    """Our column of ids, and those of topology, to the layer's: all must be there."""
    more: Mapping[str, str] = field(default_factory=dict)
    """Our other columns to the layer's; they may be missing."""
    factor: Mapping[str, float] = field(default_factory=dict)
    """What a figure is multiplied by to get our unit."""
    flow: str = ""
    """Column that says whether a line flows as it is drawn from its first to its second node."""
    against: tuple[str, ...] = ()
    """Words of it, in small letters without blanks, for a line that flows from the second to the first."""
    seen: bool = False
    """True: the names are as seen in a file of the publisher. False: they are from memory."""


SCHEMAS = (
    Schema(
        name="HydroRIVERS",
        layer="reaches",
        key={"reach_id": "HYRIV_ID", "downstream_id": "NEXT_DOWN"},
        # Seen: HYRIV_ID, NEXT_DOWN, CATCH_SKM, UPLAND_SKM. From memory: LENGTH_KM, ORD_STRA.
        more={
            "area_km2": "CATCH_SKM",
            "upstream_area_km2": "UPLAND_SKM",
            "length_km": "LENGTH_KM",
            "stream_order": "ORD_STRA",
        },
        seen=True,
    ),
    Schema(  # from memory
        name="MERIT-Basins",
        layer="reaches",
        key={"reach_id": "COMID", "downstream_id": "NextDownID"},
        more={"upstream_area_km2": "uparea", "length_km": "lengthkm", "stream_order": "order"},
    ),
    Schema(  # from memory; the next id is one of HydroID, not of the number of the segment
        name="New Zealand digital network",
        layer="reaches",
        key={"reach_id": "HydroID", "downstream_id": "NextDownID"},
        more={"stream_order": "StreamOrder"},
    ),
    Schema(  # from memory
        name="New Zealand River Environment Classification",
        layer="reaches",
        key={"reach_id": "NZSEGMENT", "from_node": "FROM_NODE", "to_node": "TO_NODE"},
        more={"stream_order": "StreamOrder"},
    ),
    Schema(  # from memory
        name="New Zealand River Environment Classification, first version",
        layer="reaches",
        key={"reach_id": "NZREACH", "from_node": "NZFNODE", "to_node": "NZTNODE"},
        more={"stream_order": "ORDER"},
    ),
    Schema(  # a table of this kind, not a published one: the segment and the segment it flows to
        name="New Zealand segments with the next segment",
        layer="reaches",
        key={"reach_id": "NZSEGMENT", "downstream_id": "TO"},
        more={"stream_order": "StreamOrder"},
    ),
    Schema(
        name="US National Water Model route table",
        layer="reaches",
        key={"reach_id": "link", "downstream_id": "to"},
        more={"length_km": "Length", "stream_order": "order"},
        factor={"length_km": 0.001},
        seen=True,
    ),
    Schema(  # from memory
        name="NHDPlus",
        layer="reaches",
        key={"reach_id": "COMID", "from_node": "FromNode", "to_node": "ToNode"},
        more={
            "name": "GNIS_NAME",
            "area_km2": "AreaSqKM",
            "upstream_area_km2": "TotDASqKM",
            "length_km": "LengthKM",
            "stream_order": "StreamOrde",
        },
    ),
    Schema(  # from memory
        name="NHDPlus High Resolution",
        layer="reaches",
        key={"reach_id": "NHDPlusID", "from_node": "FromNode", "to_node": "ToNode"},
        more={
            "name": "GNIS_NAME",
            "area_km2": "AreaSqKm",
            "upstream_area_km2": "TotDASqKm",
            "length_km": "LengthKM",
            "stream_order": "StreamOrde",
        },
    ),
    Schema(
        name="OS Open Rivers",
        layer="reaches",
        key={"reach_id": "id", "from_node": "start_node", "to_node": "end_node"},
        more={"name": "watercourse_name", "length_km": "length"},
        factor={"length_km": 0.001},
        flow="flow_direction",
        # Seen: "in direction". From memory: the words for the other way.
        against=("inoppositedirection", "oppositedirection"),
        seen=True,
    ),
    Schema(  # from memory
        name="OS Open Rivers, shapefile",
        layer="reaches",
        key={"reach_id": "identifier", "from_node": "startNode", "to_node": "endNode"},
        more={"name": "name1", "length_km": "length"},
        factor={"length_km": 0.001},
        flow="flow",
        against=("inoppositedirection", "oppositedirection"),
    ),
    Schema(  # from memory
        name="Brazilian ottocoded base",
        layer="reaches",
        key={"reach_id": "cotrecho", "from_node": "noorigem", "to_node": "nodestino"},
        more={
            "name": "noriocomp",
            "area_km2": "nuareacont",
            "upstream_area_km2": "nuareamont",
            "length_km": "nucomptrec",
            "stream_order": "nustrahler",
        },
    ),
    *(
        # Names that such columns commonly have; there is no one published layer of reaches behind them.
        Schema(name="nested basin numbers", layer="reaches", key={"reach_id": key, "nested_code": code})
        for key in ("reach_id", "id", "cotrecho")
        for code in ("PFAF_ID", "PFAF_CODE", "pfafstetter", "cobacia")
    ),
    Schema(
        name="HydroBASINS",
        layer="subwatersheds",
        key={"subwatershed_id": "HYBAS_ID", "downstream_id": "NEXT_DOWN"},
        seen=True,
    ),
    *(
        Schema(  # from memory
            name="US Watershed Boundary Dataset",
            layer="subwatersheds",
            key={"subwatershed_id": f"HUC{digits}", "downstream_id": "ToHUC"},
            more={"name": "NAME"},
        )
        for digits in (12, 10, 8)
    ),
    # A layer that is none of these, with a column that is called id.
    Schema(name="", layer="reaches", key={"reach_id": "id"}),
    Schema(name="", layer="subwatersheds", key={"subwatershed_id": "id"}),
)
"""All schemas; where several fit a layer, the first is taken."""


@dataclass(frozen=True, slots=True)
class Match:
    """Which columns of a layer are which of ours."""

    columns: Mapping[str, str]
    """Our column to the layer's, spelled as there."""
    factor: Mapping[str, float] = field(default_factory=dict)
    """What figures of our columns are multiplied by."""
    flow: str = ""
    """Column that tells of lines that flow from their second node to their first; empty for none."""
    against: tuple[str, ...] = ()
    """Words in it for such lines."""
    schema: str = ""
    """Name of the schema that was recognised; empty for no published one."""
    taken: tuple[str, ...] = ()
    """Columns of the layer that were taken by the schema, and not by their own name or by `survey.toml`."""


def match_columns(
    fields: Iterable[str], named: Mapping[str, str], known: Iterable[str], *, layer: str
) -> Match:
    """Find which columns of a layer are which of ours.

    Parameters
    ----------
    fields
        Columns of the layer.
    named
        Our column to the layer's, as `survey.toml` says; only those that are in the layer.
    known
        Our columns of this kind of layer.
    layer
        `reaches` or `subwatersheds`.

    Returns
    -------
    Match
        Columns named in `survey.toml` first, then those with our own names, then those of a schema, then
        those that bear our names but for upper and lower case.
    """
    spelled = {name.lower(): name for name in reversed([*fields])}
    own = {ours: ours for ours in known if ours in set(spelled.values())} | {**named}
    schema = next((s for s in SCHEMAS if s.layer == layer and _fits(s, spelled, own)), None)
    by_case = {ours: spelled[ours] for ours in known if ours in spelled}
    if schema is None:
        return Match(columns=by_case | own)
    theirs = {**schema.key, **schema.more}
    found = {ours: spelled[name.lower()] for ours, name in theirs.items() if name.lower() in spelled}
    if _names_other_topology(schema, own):
        found = {ours: name for ours, name in found.items() if ours not in TOPOLOGY}
    columns = by_case | found | own
    taken = tuple(name for ours, name in found.items() if columns[ours] == name and ours not in own)
    turns = schema.flow.lower() in spelled and _keeps_nodes(schema, columns)
    return Match(
        columns=columns,
        factor={ours: by for ours, by in schema.factor.items() if ours in found and ours not in own},
        flow=spelled[schema.flow.lower()] if turns else "",
        against=schema.against if turns else (),
        schema=schema.name,
        taken=taken,
    )


def _fits(schema: Schema, spelled: Mapping[str, str], own: Mapping[str, str]) -> bool:
    """Tell whether a layer has the columns of a schema, and the survey names no other column of ids."""
    key = next(iter(schema.key))
    there = all(name.lower() in spelled for name in schema.key.values())
    return there and own.get(key, schema.key[key]).lower() == schema.key[key].lower()


def _names_other_topology(schema: Schema, own: Mapping[str, str]) -> bool:
    """Tell whether a column of topology is named that is not the schema's own."""
    return any(name in own and own[name].lower() != schema.key.get(name, "").lower() for name in TOPOLOGY)


def _keeps_nodes(schema: Schema, columns: Mapping[str, str]) -> bool:
    """Tell whether nodes are read from the schema's own columns."""
    nodes = ("from_node", "to_node")
    return all(
        name in schema.key and columns.get(name, "").lower() == schema.key[name].lower() for name in nodes
    )
