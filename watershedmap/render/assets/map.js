// The map: panes in a fixed order, what is painted in them, and what lies under the pointer.

/** From the ground up. Switching a layer off and on never changes this order. */
const PANES = ["areas", "focus", "lines", "badges", "sites", "labels"];
const LAYERS = ["areas", "reaches", "badges", "sites"];

class WatershedMap {
  constructor(map, data, choose) {
    this.map = map;
    this.data = data;
    this.shown = { areas: true, reaches: true, badges: true, sites: true };
    this.selected = null;
    this.hovered = null;
    this.reachGrid = new BoxGrid(data.reaches.shapes);
    this.layers = this.addPanes();
    this.bounds = this.findBounds();
    this.fitZoom = 0;
    map.on("moveend resize", () => this.refresh());
    map.on("click", (event) => {
      const place = this.placeAt(event.containerPoint, event.originalEvent);
      choose(place);
    });
    map.on("mousemove", (event) => this.hover(event));
    map.on("mouseout movestart", () => this.showTip(null));
  }

  addPanes() {
    const painters = {
      areas: (context, view) => this.paintAreas(context, view),
      focus: (context, view) => this.paintFocus(context, view),
      lines: (context, view) => this.paintLines(context, view),
      badges: (context) => this.layout.badges.forEach((badge) => paintBadge(context, badge.x, badge.y, badge.trend)),
      sites: (context, view) => this.paintSites(context, view),
      labels: (context) => this.layout.labels.forEach((label) => paintLabel(context, label)),
    };
    const layers = {};
    PANES.forEach((name, i) => {
      const pane = this.map.createPane(name);
      pane.style.zIndex = String(400 + 20 * i);
      pane.style.pointerEvents = "none";
      layers[name] = new PaneCanvas(painters[name], { pane: name });
    });
    return layers;
  }

  findBounds() {
    const { data } = this;
    const sets = data.areas ? [data.reaches.shapes, data.areas.shapes] : [data.reaches.shapes];
    const box = boundsOf(sets, [data.sites.points]);
    if (!box) return L.latLngBounds([-1, -1], [1, 1]);
    return L.latLngBounds(this.toLatLng(box[0], box[3]), this.toLatLng(box[2], box[1]));
  }

  toLatLng(x, y) {
    return this.map.unproject([x, y], 0);
  }

  /** Show everything, clear of what lies over the left part of the map. */
  fit(left = 0) {
    const size = this.map.getSize();
    const margin = Math.min(28, size.x / 12);
    this.map.fitBounds(this.bounds, { paddingTopLeft: [left + margin, margin], paddingBottomRight: [margin, margin], animate: false });
    this.fitZoom = this.map.getZoom();
    this.map.setMinZoom(Math.max(0, this.fitZoom - 1.5));
    if (!this.map.hasLayer(this.layers.lines)) Object.values(this.layers).forEach((layer) => layer.addTo(this.map));
    this.refresh();
  }

  /** Paint everything for what the map shows now. */
  refresh(sharpness) {
    const view = currentView(this.map);
    this.layout = this.layOut(view);
    for (const name of PANES) this.layers[name].refresh(view, sharpness);
  }

  layOut(view) {
    const { data, shown } = this;
    const taken = new Occupancy();
    const siteList = layOutSites(data, view, this.fitZoom);
    if (shown.sites) siteList.forEach(({ x, y, radius }) => taken.take(boxAbout(x, y, radius)));
    const badges = shown.badges ? layOutBadges(data, view, taken, this.fitZoom) : [];
    this.scratch ??= document.createElement("canvas").getContext("2d");
    const labels = layOutLabels(data, view, this.scratch, taken, { ...shown, siteList });
    return { siteList, badges, labels };
  }

  setShown(layer, on) {
    this.shown[layer] = on;
    this.refresh();
  }

  paintAreas(context, view) {
    const { areas, index } = this.data;
    if (!areas || !this.shown.areas) return;
    const hatch = hatching(context);
    for (let i = 0; i < areas.n; i += 1) {
      if (!inView(areas.shapes, i, view)) continue;
      context.beginPath();
      tracePath(context, areas.shapes, i, view, true);
      context.fillStyle = areas.rank[i] >= 0 ? index.classes[areas.rank[i]].tint : hatch;
      context.fill("evenodd");
      context.strokeStyle = styleColour("border");
      context.lineWidth = 1;
      context.stroke();
    }
  }

  paintLines(context, view) {
    if (!this.shown.reaches) return;
    const groups = this.groupLines(view);
    for (const { look, members } of groups) if (look.casing) this.strokeLines(context, view, members, styleColour("casing"), look.width + 2 * look.casing, []);
    for (const { look, members } of groups) this.strokeLines(context, view, members, look.colour, look.width, look.dash);
  }

  /** Reaches of the view by how they are drawn: unassessed, inferred, measured; the worst class last, on top. */
  groupLines(view) {
    const { reaches, k } = this.data;
    const groups = new Map();
    for (let i = 0; i < reaches.n; i += 1) {
      if (!inView(reaches.shapes, i, view)) continue;
      const level = reaches.rank[i] < 0 ? 0 : (2 - reaches.evidence[i]) * k + reaches.rank[i] + 1;
      if (!groups.has(level)) groups.set(level, { level, look: lineLook(this.data, reaches.evidence[i], reaches.rank[i]), members: [] });
      groups.get(level).members.push(i);
    }
    return [...groups.values()].sort((a, b) => a.level - b.level);
  }

  strokeLines(context, view, members, colour, width, dash) {
    context.beginPath();
    for (const i of members) tracePath(context, this.data.reaches.shapes, i, view);
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.lineCap = dash.length ? "butt" : "round";
    context.setLineDash(dash);
    context.stroke();
    context.setLineDash([]);
  }

  paintSites(context, view) {
    const { data } = this;
    if (!this.shown.sites) return;
    for (const { i, x, y, radius } of this.layout.siteList) this.paintTie(context, view, i, x, y, radius);
    for (const { i, x, y, radius } of this.layout.siteList) {
      const look = siteLook(data, data.sites.rank[i], data.sites.current[i]);
      paintSite(context, x, y, radius, look);
    }
  }

  /** A fine line from a site to its place on the reach, where that can be told apart from the site itself. */
  paintTie(context, view, i, x, y, radius) {
    const toX = view.x(this.data.sites.snapped.x[i]);
    const toY = view.y(this.data.sites.snapped.y[i]);
    if (!(Math.hypot(toX - x, toY - y) > radius + 2)) return;
    context.beginPath();
    context.moveTo(x, y);
    context.lineTo(toX, toY);
    context.strokeStyle = styleColour("ink");
    context.lineWidth = 1;
    context.stroke();
    context.beginPath();
    context.arc(toX, toY, 2.5, 0, 2 * Math.PI);
    context.fillStyle = styleColour("ink");
    context.fill();
  }

  /** The glow under what is selected, and a fainter one under what the pointer is on. */
  paintFocus(context, view) {
    if (this.hovered && !samePlace(this.hovered, this.selected)) this.paintGlow(context, view, this.hovered, "hover-glow");
    if (this.selected) this.paintGlow(context, view, this.selected, "glow");
  }

  paintGlow(context, view, { kind, i }, colour) {
    context.strokeStyle = styleColour(colour);
    context.fillStyle = styleColour(colour);
    context.lineCap = "round";
    context.beginPath();
    if (kind === "site") {
      const { points } = this.data.sites;
      context.arc(view.x(points.x[i]), view.y(points.y[i]), 18, 0, 2 * Math.PI);
      context.fill();
      return;
    }
    const shapes = tableOf(this.data, kind).shapes;
    tracePath(context, shapes, i, view, kind === "area");
    context.lineWidth = kind === "area" ? 4 : classWidth(this.data.reaches.rank[i], this.data.k) + 11;
    context.stroke();
  }

  /** Mark a place as selected; when asked, move the map until it is seen beside what covers the map. */
  select(place, { move = false, covered = { left: 0, bottom: 0 } } = {}) {
    this.selected = place;
    if (place && move) this.bringIntoView(place, covered);
    this.refreshFocus();
  }

  refreshFocus() {
    const { view } = this.layers.focus;
    if (view) this.layers.focus.refresh(view);
  }

  bringIntoView(place, { left, bottom }) {
    const bounds = this.boundsOfPlace(place);
    if (!bounds) return;
    const size = this.map.getSize();
    const free = L.bounds([left + 20, 20], [size.x - 20, size.y - bottom - 20]);
    const corners = [bounds.getNorthWest(), bounds.getSouthEast()].map((corner) => this.map.latLngToContainerPoint(corner));
    if (corners.every((corner) => free.contains(corner))) return;
    this.map.fitBounds(bounds, { paddingTopLeft: [left + 40, 40], paddingBottomRight: [40, bottom + 40], maxZoom: Math.min(Math.max(this.map.getZoom(), this.fitZoom + 1), this.fitZoom + 2.5) });
  }

  boundsOfPlace({ kind, i }) {
    if (kind === "site") {
      const { x, y } = this.data.sites.points;
      return Number.isFinite(x[i]) ? this.toLatLng(x[i], y[i]).toBounds(200) : null;
    }
    const { box } = tableOf(this.data, kind).shapes;
    if (!(box[4 * i] <= box[4 * i + 2])) return null;
    return L.latLngBounds(this.toLatLng(box[4 * i], box[4 * i + 3]), this.toLatLng(box[4 * i + 2], box[4 * i + 1]));
  }

  /** What lies at a point of the map: a site before a reach before a sub-watershed. */
  placeAt(point, event) {
    const wide = event?.pointerType === "touch" ? 16 : 8;
    return this.siteAt(point) ?? this.reachAt(point, wide) ?? this.areaAt(point);
  }

  siteAt(point) {
    if (!this.shown.sites) return null;
    const { pad } = this.layers.sites.view;
    const near = this.layout.siteList.filter(({ x, y, radius }) => Math.hypot(x - pad.x - point.x, y - pad.y - point.y) <= radius + 2);
    return near.length ? { kind: "site", i: near[near.length - 1].i } : null;
  }

  reachAt(point, wide) {
    if (!this.shown.reaches) return null;
    const badge = this.badgeAt(point);
    if (badge) return badge;
    const { shapes } = this.data.reaches;
    const at = this.toWorld(point);
    const reach = wide / 2 ** this.map.getZoom();
    let best = { i: -1, distance: reach };
    for (const i of this.reachGrid.near(at.x, at.y, reach)) {
      const distance = distanceTo(shapes, i, at.x, at.y);
      if (distance < best.distance) best = { i, distance };
    }
    return best.i < 0 ? null : { kind: "reach", i: best.i };
  }

  badgeAt(point) {
    const { pad } = this.layers.badges.view;
    const found = this.layout.badges.find(({ x, y }) => Math.hypot(x - pad.x - point.x, y - pad.y - point.y) <= BADGE_RADIUS);
    return found ? { kind: "reach", i: found.reach } : null;
  }

  areaAt(point) {
    const { areas } = this.data;
    if (!areas || !this.shown.areas) return null;
    const at = this.toWorld(point);
    const i = range(areas.n).find((area) => contains(areas.shapes, area, at.x, at.y));
    return i === undefined ? null : { kind: "area", i };
  }

  toWorld(point) {
    return this.map.project(this.map.containerPointToLatLng(point), 0);
  }

  toScreen(x, y) {
    return this.map.latLngToContainerPoint(this.toLatLng(x, y));
  }

  hover({ containerPoint, originalEvent }) {
    if (originalEvent?.buttons) return;
    const place = this.placeAt(containerPoint);
    this.map.getContainer().style.cursor = place ? "pointer" : "";
    this.showTip(place && place.kind !== "area" ? place : null, containerPoint);
  }

  showTip(place, point) {
    const tip = document.getElementById("map-tip");
    tip.hidden = !place;
    if (!samePlace(place, this.hovered)) {
      this.hovered = place;
      this.refreshFocus();
      if (place) tip.textContent = tipText(this.data, place);
    }
    if (!place) return;
    const toLeft = point.x > this.map.getSize().x - 240;
    tip.style.left = `${point.x + (toLeft ? -14 : 14)}px`;
    tip.style.top = `${point.y + 14}px`;
    tip.style.transform = toLeft ? "translateX(-100%)" : "none";
  }
}

function samePlace(a, b) {
  return a === b || Boolean(a && b && a.kind === b.kind && a.i === b.i);
}

function tipText(data, { kind, i }) {
  const table = tableOf(data, kind);
  const evidence = kind === "reach" && table.rank[i] >= 0 ? ` (${data.evidence[table.evidence[i]]})` : "";
  return `${fullName(table.id[i], table.name[i])}: ${classWords(data, table.rank[i])}${evidence}`;
}

/** Thin slanted lines for places without data. */
function hatching(context) {
  const tile = document.createElement("canvas");
  tile.width = 8;
  tile.height = 8;
  const brush = tile.getContext("2d");
  brush.strokeStyle = styleColour("hatch");
  brush.lineWidth = 1;
  brush.beginPath();
  for (const shift of [-8, 0, 8]) {
    brush.moveTo(shift - 1, 9);
    brush.lineTo(shift + 9, -1);
  }
  brush.stroke();
  return context.createPattern(tile, "repeat");
}

function paintLabel(context, { text, x, y, angle, style }) {
  context.save();
  context.translate(x, y);
  context.rotate(angle);
  context.font = style.font;
  context.letterSpacing = style.spacing;
  context.textAlign = "center";
  context.textBaseline = "middle";
  context.strokeStyle = styleColour("halo");
  context.lineWidth = 3.5;
  context.strokeText(text, 0, 0);
  context.fillStyle = styleColour(style.colour);
  context.fillText(text, 0, 0);
  context.restore();
}
