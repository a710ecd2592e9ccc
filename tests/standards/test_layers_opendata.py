"""Open layers are read as they come, with no column named, from the folder that WATERSHEDMAP_OPENDATA names.

Sources: HydroRIVERS and HydroBASINS (HydroSHEDS; Lehner and Grill 2013, Hydrol. Process. 27:2171-2186); OS
Open Rivers and OS VectorMap District (Ordnance Survey, Open Government Licence); the route table of the US
National Water Model (NOAA), which is NetCDF and is saved as CSV here.
"""

from __future__ import annotations

import os
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from watershedmap.network.inspection import inspect_reaches
from watershedmap.network.order import strahler_order
from watershedmap.network.topology import Network, build_network
from watershedmap.readers.layers import read_reaches, read_subwatersheds
from watershedmap.settings import Layer, Settings

pytestmark = pytest.mark.opendata


@pytest.fixture(scope="module")
def folder() -> Path:
    name = os.environ.get("WATERSHEDMAP_OPENDATA")
    if not name:
        pytest.skip("WATERSHEDMAP_OPENDATA is not set")
    return Path(name)


def read(folder: Path, path: str) -> tuple[gpd.GeoDataFrame, Network, dict[str, int]]:
    """Read and inspect a layer that the survey says nothing about but its path."""
    settings = Settings(title="", about="", tables={}, layers={"reaches": Layer(path)})
    reaches, found = read_reaches(folder, settings)
    assert {fault.severity for fault in found} == {"notice"}
    network, found = build_network(reaches)
    assert {fault.severity for fault in found} <= {"notice"}
    return reaches, network, inspect_reaches(reaches, network)["finding"].value_counts().to_dict()


def test_hydrorivers_is_read_as_it_comes(folder: Path) -> None:
    reaches, network, found = read(folder, "networks/hydrorivers_ceara.gpkg")
    assert len(reaches) == 7034
    assert list(reaches.columns[:5]) == [
        "reach_id",
        "name",
        "downstream_id",
        "area_km2",
        "upstream_area_km2",
    ]
    assert network.leaves_layer.sum() == 28
    # 65 outlets, 28 reaches whose next one was cut off, and the largest of the 93 pieces is not listed.
    assert found == {"isolated piece": 92, "outlet": 65, "leaves the layer": 28}


def test_hydrorivers_with_a_next_id_turned_back_has_that_cycle(folder: Path) -> None:
    settings = Settings(
        title="", about="", tables={}, layers={"reaches": Layer("networks/hydrorivers_ceara.gpkg")}
    )
    reaches, _ = read_reaches(folder, settings)
    upper = reaches.loc[reaches["downstream_id"].isin(reaches["reach_id"])].iloc[0]
    lower = reaches["reach_id"] == upper["downstream_id"]
    reaches.loc[lower, "downstream_id"] = upper["reach_id"]
    network, faults = build_network(reaches)
    assert [fault.severity for fault in faults].count("fault") == 1
    found = inspect_reaches(reaches, network)
    cycle = found[found["finding"] == "cycle"].iloc[0]
    assert set(cycle["ids"].split("; ")) == {upper["reach_id"], upper["downstream_id"]}
    assert network.in_cycle.sum() == 2


def test_hydrobasins_is_read_as_it_comes(folder: Path) -> None:
    path = "subwatersheds/hydrobasins_l12_ceara.gpkg"
    settings = Settings(title="", about="", tables={}, layers={"subwatersheds": Layer(path)})
    areas, found = read_subwatersheds(folder, settings)
    assert areas is not None
    assert len(areas) == 1235
    assert areas.geometry.is_valid.all()
    assert {fault.severity for fault in found} == {"notice"}
    assert any(fault.problem.startswith("6 polygon(s) cross themselves") for fault in found)
    published = gpd.read_file(folder / path)
    assert areas["downstream_id"].isna().sum() == (published["NEXT_DOWN"] == 0).sum() == 72
    inside = published["NEXT_DOWN"].isin(published["HYBAS_ID"]).sum()
    assert areas["downstream_id"].isin(areas["subwatershed_id"]).sum() == inside == 1097


@pytest.mark.parametrize(
    ("name", "river", "lines", "divided"),
    [
        ("os_openrivers_cam", "River Cam", 77, (6, 0)),
        ("os_openrivers_great_ouse", "River Great Ouse", 256, (7, 1)),
    ],
)
def test_os_open_rivers_is_read_as_it_comes(
    folder: Path, name: str, river: str, lines: int, divided: tuple[int, int]
) -> None:
    reaches, network, found = read(folder, f"networks/{name}.geojson")
    assert len(reaches) == lines
    assert {"from_node", "to_node", "length_km"} <= set(reaches.columns)
    assert (reaches["name"] == river).any()
    # Published in whole metres of the national grid, whose scale is within 0.04 % of true.
    difference = np.abs(reaches["length_km"].to_numpy() - network.length_km)
    assert (difference <= 0.0005 + 0.0004 * network.length_km).all()
    pieces, divergences = divided
    assert found.pop("divergence", 0) == divergences
    assert found == {"outlet": pieces, "isolated piece": pieces - 1}


def test_os_vectormap_lines_are_read_as_they_come_and_their_direction_is_not_believed(folder: Path) -> None:
    reaches, network, found = read(folder, "networks/os_vectormap_water_lines_TL.geojson")
    assert len(reaches) == 1868
    assert reaches["reach_id"].str.len().eq(36).all()  # its own ids, not row numbers
    assert not reaches.geometry.has_z.any()
    assert not network.has_flow
    assert set(found) == {"isolated piece", "near miss", "end beside a line", "direction unclear"}
    assert "outlet" not in found


def test_the_route_table_is_read_as_a_layer_without_lines(folder: Path, tmp_path: Path) -> None:
    h5py = pytest.importorskip("h5py", reason="h5py reads the route table and is not installed")
    with h5py.File(folder / "networks/nwm_routelink_lowercolorado_tx.nc") as file:
        names = ("link", "from", "to", "Length", "order", "lon", "lat")
        table = pd.DataFrame({name: file[name][:] for name in names})
    table.to_csv(tmp_path / "routes.csv", index=False)
    reaches, network, found = read(tmp_path, "routes.csv")
    assert len(reaches) == 11248
    assert reaches.geometry.isna().all()
    assert network.length_km.sum() == pytest.approx(table["Length"].sum() / 1000)
    assert (strahler_order(network) == reaches["stream_order"]).mean() >= 0.995
    assert found.get("cycle", 0) == 0
    assert set(found) <= {"outlet", "isolated piece", "leaves the layer"}
