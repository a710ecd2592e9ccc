"""The stream network on open data, read from the folder that WATERSHEDMAP_OPENDATA names.

Sources: HydroRIVERS and HydroBASINS (HydroSHEDS; Lehner and Grill 2013, Hydrol. Process. 27:2171-2186); OS
Open Rivers and OS VectorMap District (Ordnance Survey, Open Government Licence); the route table of the US
National Water Model (NOAA).
"""

from __future__ import annotations

import os
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from watershedmap.network.areas import area_km2, area_of_points, share_reaches
from watershedmap.network.order import strahler_order
from watershedmap.network.topology import build_network
from watershedmap.network.tracing import accumulate

pytestmark = pytest.mark.opendata


@pytest.fixture(scope="module")
def folder() -> Path:
    name = os.environ.get("WATERSHEDMAP_OPENDATA")
    if not name:
        pytest.skip("WATERSHEDMAP_OPENDATA is not set")
    return Path(name)


@pytest.fixture(scope="module")
def ceara(folder: Path) -> gpd.GeoDataFrame:
    layer = gpd.read_file(folder / "networks/hydrorivers_ceara.gpkg").to_crs("EPSG:4326")
    downstream = layer["NEXT_DOWN"].astype(str)
    return layer.assign(
        reach_id=layer["HYRIV_ID"].astype(str), downstream_id=downstream.mask(downstream == "0")
    )


@pytest.fixture(scope="module")
def basins(folder: Path) -> gpd.GeoDataFrame:
    return gpd.read_file(folder / "subwatersheds/hydrobasins_l12_ceara.gpkg").to_crs("EPSG:4326")


def read_open_rivers(folder: Path, name: str) -> gpd.GeoDataFrame:
    layer = gpd.read_file(folder / f"networks/{name}.geojson").to_crs("EPSG:4326")
    return layer.rename(columns={"id": "reach_id", "start_node": "from_node", "end_node": "to_node"})


def test_hydrorivers_catchments_accumulate_to_its_own_upland_areas(ceara: gpd.GeoDataFrame) -> None:
    network, _ = build_network(ceara)
    total = accumulate(network, ceara["CATCH_SKM"].to_numpy())
    difference = np.abs(total / ceara["UPLAND_SKM"] - 1)
    assert difference.median() < 0.001
    # 31 reaches differ by over a twentieth; the larger ones because inflow was cut off with the layer.
    differing = ceara["UPLAND_SKM"][difference > 0.05]
    assert len(differing) == 31
    large = differing.index[differing > 100]
    assert len(large) > 20
    assert (total[large] < ceara["UPLAND_SKM"][large]).all()


def test_hydrorivers_outlets_and_reaches_that_leave_the_layer_are_told(ceara: gpd.GeoDataFrame) -> None:
    network, found = build_network(ceara)
    assert all(fault.severity == "notice" for fault in found)
    assert network.leaves_layer.sum() == 28
    assert ((network.main_down < 0) & ~network.leaves_layer).sum() == 65


def test_hydrorivers_line_ends_tell_the_same_topology_as_its_ids(ceara: gpd.GeoDataFrame) -> None:
    by_ids, _ = build_network(ceara)
    by_ends, _ = build_network(ceara, source="line_ends")
    assert by_ends.has_flow
    assert np.array_equal(by_ends.main_down, by_ids.main_down)
    assert not by_ids.runs_upstream.any()


def test_lines_turned_round_are_recognised_against_the_ids(ceara: gpd.GeoDataFrame) -> None:
    turned = np.random.default_rng(7).random(len(ceara)) < 0.5
    geometry = np.where(turned, ceara.geometry.reverse(), ceara.geometry)
    network, _ = build_network(ceara.set_geometry(gpd.GeoSeries(geometry, crs=ceara.crs)))
    lone = (network.main_down < 0) & ~np.isin(np.arange(len(ceara)), network.edge_down)
    assert np.array_equal(network.runs_upstream[~lone], turned[~lone])


def test_hydrorivers_reaches_fall_into_the_basins_that_the_layer_names(
    ceara: gpd.GeoDataFrame, basins: gpd.GeoDataFrame
) -> None:
    shares = share_reaches(ceara, basins)
    assert shares.groupby("reach")["share"].sum().max() <= 1 + 1e-9
    main = shares.loc[shares.groupby("reach")["share"].idxmax()]
    named = ceara["HYBAS_L12"].to_numpy()[main["reach"]]
    assert (basins["HYBAS_ID"].to_numpy()[main["area"]] == named).mean() > 0.98


def test_points_inside_of_basins_are_found_there(basins: gpd.GeoDataFrame) -> None:
    inside = basins.geometry.representative_point()
    assert (area_of_points(inside, basins) == np.arange(len(basins))).mean() > 0.99


def test_hydrobasins_areas_agree_with_its_own(basins: gpd.GeoDataFrame) -> None:
    assert np.median(np.abs(area_km2(basins.geometry) / basins["SUB_AREA"] - 1)) < 0.01


@pytest.mark.parametrize(
    ("name", "networks", "divergences"), [("os_openrivers_cam", 6, 0), ("os_openrivers_great_ouse", 7, 1)]
)
def test_os_open_rivers_builds_from_its_nodes(
    folder: Path, name: str, networks: int, divergences: int
) -> None:
    network, found = build_network(read_open_rivers(folder, name))
    assert all(fault.severity == "notice" for fault in found)
    assert any(f"{networks} separate network(s)" in fault.problem for fault in found)
    assert (np.bincount(network.edge_up) > 1).sum() == divergences
    assert not network.runs_upstream.any()  # the layer says of every line that it flows as drawn


def test_os_open_rivers_line_ends_tell_the_same_topology_as_its_nodes(folder: Path) -> None:
    layer = read_open_rivers(folder, "os_openrivers_great_ouse")
    by_nodes, _ = build_network(layer)
    by_ends, _ = build_network(layer, source="line_ends")
    assert by_ends.has_flow
    assert np.array_equal(by_ends.edge_up, by_nodes.edge_up)
    assert np.array_equal(by_ends.edge_down, by_nodes.edge_down)


def test_os_vectormap_lines_are_not_believed_to_be_drawn_downstream(folder: Path) -> None:
    layer = gpd.read_file(folder / "networks/os_vectormap_water_lines_TL.geojson").to_crs("EPSG:4326")
    network, found = build_network(layer.rename(columns={"ID": "reach_id"}))
    assert not network.has_flow
    assert any("direction of flow is unknown" in fault.problem for fault in found)
    assert network.length_km.min() > 0


def test_national_water_model_orders_are_found_again(folder: Path) -> None:
    h5py = pytest.importorskip("h5py", reason="h5py reads the route table and is not installed")
    with h5py.File(folder / "networks/nwm_routelink_lowercolorado_tx.nc") as file:
        table = pd.DataFrame({name: file[name][:] for name in ("link", "to", "order")})
    downstream = table["to"].astype(str)
    layer = gpd.GeoDataFrame(
        {"reach_id": table["link"].astype(str), "downstream_id": downstream.mask(table["to"] == 0)},
        geometry=[None] * len(table),
        crs="EPSG:4326",
    )
    network, _ = build_network(layer)
    assert (strahler_order(network) == table["order"]).mean() >= 0.995
