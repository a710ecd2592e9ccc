"""Schemas of open hydrography are recognised by their columns; what survey.toml names wins."""

from __future__ import annotations

import pytest

from watershedmap.readers.schemas import SCHEMAS, Match, match_columns
from watershedmap.settings import TABLE_COLUMNS


def match(*fields: str, layer: str = "reaches", **named: str) -> Match:
    return match_columns(fields, named, TABLE_COLUMNS[layer], layer=layer)


@pytest.mark.parametrize(
    ("fields", "schema", "expected"),
    [
        (
            ("HYRIV_ID", "NEXT_DOWN", "UPLAND_SKM", "CATCH_SKM", "ORD_STRA", "LENGTH_KM"),
            "HydroRIVERS",
            {
                "reach_id": "HYRIV_ID",
                "downstream_id": "NEXT_DOWN",
                "upstream_area_km2": "UPLAND_SKM",
                "area_km2": "CATCH_SKM",
                "stream_order": "ORD_STRA",
                "length_km": "LENGTH_KM",
            },
        ),
        (
            ("COMID", "NextDownID", "uparea", "lengthkm", "order"),
            "MERIT-Basins",
            {
                "reach_id": "COMID",
                "downstream_id": "NextDownID",
                "upstream_area_km2": "uparea",
                "length_km": "lengthkm",
                "stream_order": "order",
            },
        ),
        (
            ("ComID", "FROMNODE", "tonode", "GNIS_Name", "StreamOrde", "TotDASqKM"),
            "NHDPlus",
            {
                "reach_id": "ComID",
                "from_node": "FROMNODE",
                "to_node": "tonode",
                "name": "GNIS_Name",
                "stream_order": "StreamOrde",
                "upstream_area_km2": "TotDASqKM",
            },
        ),
        (
            ("nzsegment", "FROM_NODE", "TO_NODE"),
            "New Zealand River Environment Classification",
            {"reach_id": "nzsegment", "from_node": "FROM_NODE", "to_node": "TO_NODE"},
        ),
        (
            ("NZSEGMENT", "TO"),
            "New Zealand segments with the next segment",
            {"reach_id": "NZSEGMENT", "downstream_id": "TO"},
        ),
        (
            ("link", "to", "Length", "order"),
            "US National Water Model route table",
            {"reach_id": "link", "downstream_id": "to", "length_km": "Length", "stream_order": "order"},
        ),
        (
            ("cotrecho", "cobacia"),
            "nested basin numbers",
            {"reach_id": "cotrecho", "nested_code": "cobacia"},
        ),
    ],
)
def test_a_known_layer_is_recognised_upper_and_lower_case_alike(
    fields: tuple[str, ...], schema: str, expected: dict[str, str]
) -> None:
    found = match(*fields, "unrelated")
    assert found.schema == schema
    assert dict(found.columns) == expected
    assert set(found.taken) == set(expected.values())


def test_codes_of_sub_watersheds_are_recognised() -> None:
    found = match("HYBAS_ID", "NEXT_DOWN", "SUB_AREA", layer="subwatersheds")
    assert dict(found.columns) == {"subwatershed_id": "HYBAS_ID", "downstream_id": "NEXT_DOWN"}


def test_another_column_of_ids_in_the_survey_keeps_the_schema_out() -> None:
    found = match("HYRIV_ID", "NEXT_DOWN", "CODE", reach_id="CODE")
    assert dict(found.columns) == {"reach_id": "CODE"}
    assert found.taken == ()


def test_the_schemas_own_ids_named_in_the_survey_leave_the_rest_to_the_schema() -> None:
    found = match("HYRIV_ID", "NEXT_DOWN", reach_id="HYRIV_ID")
    assert found.columns["downstream_id"] == "NEXT_DOWN"
    assert found.taken == ("NEXT_DOWN",)


def test_other_topology_named_in_the_survey_keeps_that_of_the_schema_out() -> None:
    found = match("HYRIV_ID", "NEXT_DOWN", "CATCH_SKM", "A", "B", from_node="A", to_node="B")
    assert dict(found.columns) == {
        "reach_id": "HYRIV_ID",
        "area_km2": "CATCH_SKM",
        "from_node": "A",
        "to_node": "B",
    }


def test_one_figure_named_in_the_survey_replaces_that_of_the_schema_and_its_unit() -> None:
    found = match("link", "to", "Length", "km", length_km="km")
    assert found.columns["length_km"] == "km"
    assert found.factor == {}
    assert match("link", "to", "Length").factor == {"length_km": 0.001}


def test_our_own_names_count_as_they_are_and_else_whatever_their_case() -> None:
    assert dict(match("REACH_ID", "Name").columns) == {"reach_id": "REACH_ID", "name": "Name"}
    assert match("reach_id", "REACH_ID").columns["reach_id"] == "reach_id"
    assert match("reach_id", "HYRIV_ID", "NEXT_DOWN").schema == ""


def test_lines_are_turned_only_while_the_nodes_are_those_of_the_schema() -> None:
    fields = ("id", "start_node", "end_node", "flow_direction", "A", "B")
    assert match(*fields).flow == "flow_direction"
    assert match(*fields, from_node="start_node", to_node="end_node").flow == "flow_direction"
    assert match(*fields, from_node="A", to_node="B").flow == ""


def test_every_schema_names_columns_that_we_know_with_the_id_first() -> None:
    for schema in SCHEMAS:
        known = TABLE_COLUMNS[schema.layer]
        assert {*schema.key, *schema.more} <= set(known)
        assert next(iter(schema.key)) == known[0]
        assert set(schema.factor) <= set(schema.more)
