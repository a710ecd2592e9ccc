// The map: panes in a fixed order, what is painted in them, and what lies under the pointer.

/** From the ground up. Switching a layer off and on never changes this order. */
const PANES = ["areas", "lines", "badges", "sites", "focus", "labels"];
const ROOM_FOR_EDGE = 70; // extent of a usual sub-watershed, pixels, from which its edge is a full line
const SMALL_REACH = 24; // half its extent, pixels, below which sites may hide it

class WatershedMap {
  constructor(map, data, choose, onHover) {
    this.map = map;
    this.data = data;
    this.onHover = onHover;
    this.kept = {};
    this.trace = null;
    this.measure = "class";
    this.shown = { areas: true, reaches: true, badges: true, sites: true, steps: true, graticule: true };
    this.selected = null;
    this.hovered = null;
    this.lines = new ReachLines(data);
    this.layers = this.addPanes();
    this.bounds = this.findBounds();
    this.fitZoom = 0;
    map.on("moveend resize", () => this.fitting || this.refresh());
    map.on("click", (event) => {
      const place = this.placeAt(event.containerPoint, event.originalEvent);
      choose(place);
    });
    map.getContainer().addEventListener("pointermove", (event) => this.hover(event));
    map.on("mouseout movestart", () => this.showTip(null));
  }

  addPanes() {
    const painters = {
      areas: (context, view) => this.paintAreas(context, view),
      lines: (context, view) => this.paintLines(context, view),
      badges: (context) => {
        this.layout.badges.forEach((badge) => paintBadge(context, badge.x, badge.y, badge.trend));
        this.layout.steps.forEach(({ n, x, y }) => paintStep(context, x, y, this.data.steps.kind[n]));
      },
      sites: (context, view) => this.paintSites(context, view),
      focus: (context, view) => this.paintFocus(context, view),
      labels: (context, view) => {
        this.layout.labels.forEach((label) => paintLabel(context, label));
        if (this.shown.graticule) labelGraticule(context, this.map, view);
      },
    };
    const layers = {};
    PANES.forEach((name, i) => {
      const pane = this.map.createPane(name);
      pane.style.zIndex = String(400 + 20 * i);
      pane.style.pointerEvents = "none";
      layers[name] = new PaneCanvas(painters[name], { pane: name, flat: name === "focus" }); // what it cuts out must not reach a printer as drawing
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
    this.fitting = true; // painted once, below
    this.map.fitBounds(this.bounds, { paddingTopLeft: [left + margin, margin], paddingBottomRight: [margin, margin], animate: false });
    this.fitZoom = this.map.getZoom();
    this.map.setMinZoom(Math.max(0, this.fitZoom - 1.5));
    this.fitting = false;
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
    const siteList = layOutSites(data, view, this.fitZoom, this.kept.site);
    if (shown.sites) siteList.forEach(({ x, y, radius }) => taken.take(boxAbout(x, y, 0.9 * radius)));
    const steps = shown.steps && !data.period ? layOutSteps(data, view, taken, this.kept.site) : [];
    const badges = shown.badges && !data.period ? layOutBadges(data, view, taken, this.fitZoom, siteList, this.kept.reach) : [];
    this.scratch ??= document.createElement("canvas").getContext("2d");
    const labels = layOutLabels(data, view, this.scratch, taken, { ...shown, siteList });
    return { siteList, steps, badges, labels };
  }

  setShown(layer, on) {
    this.shown[layer] = on;
    this.refresh();
  }

  paintAreas(context, view) {
    const { areas, index } = this.data;
    if (this.shown.graticule) paintGraticule(context, this.map, view);
    if (!areas || !this.shown.areas) return;
    areas.usual ??= usualExtent(areas.shapes);
    const edge = Math.max(0.35, Math.min(1, (areas.usual * view.scale) / ROOM_FOR_EDGE));
    const hatch = hatching(context, styleColour("hatch"), 1);
    const border = styleColour("border");
    const shade = styleColour("accent");
    const inferred = index.classes.map((band) => hatching(context, band.colour, -1));
    for (let i = 0; i < areas.n; i += 1) {
      if (!inView(areas.shapes, i, view)) continue;
      const left = this.kept.area && !this.kept.area[i];
      context.beginPath();
      tracePath(context, areas.shapes, i, view, true);
      const rank = areas.rank[i];
      const share = MEASURES[this.measure].value?.(areas, i);
      context.globalAlpha = 1;
      if (left || this.data.period) context.fillStyle = "transparent"; // their class is of today
      else if (share !== undefined && !missing(share)) {
        context.fillStyle = shade;
        context.globalAlpha = shadeStrength(share);
      } else if (this.measure !== "class") context.fillStyle = hatch;
      else if (rank < 0) context.fillStyle = hatch;
      else context.fillStyle = areas.evidence[i] === EVIDENCE.inferred ? inferred[rank] : tintOf(index.classes[rank]);
      context.fill("evenodd");
      context.globalAlpha = 1;
      context.strokeStyle = border;
      context.lineWidth = edge;
      context.stroke();
    }
  }

  paintLines(context, view) {
    if (this.trace) paintTrace(context, this.data, view, this.trace, this.lines.thinness(view));
    if (this.shown.reaches) this.lines.paint(context, view);
  }

  /** Draw only what passes the filters; reaches that do not stay as a faint line, so that the network is still seen. */
  filter(kept) {
    this.kept = kept;
    this.lines.group(kept.reach);
    this.refresh();
  }

  /** Shade sub-watersheds by a measure (see shading.js). */
  shadeAreas(measure) {
    this.measure = Object.hasOwn(MEASURES, measure) ? measure : "class";
    this.refresh();
    this.map.fire("shaded");
  }

  /** Draw a trace (see flow.js) below the lines, or none. */
  showTrace(trace) {
    this.trace = trace;
    this.refresh();
  }

  paintSites(context, view) {
    const { data } = this;
    if (!this.shown.sites) return;
    for (const site of this.layout.siteList) this.paintTie(context, view, site);
    for (const { i, x, y, radius } of this.layout.siteList) {
      const look = siteLook(data, data.sites.rank[i], data.sites.current[i], isUncertain(data, data.sites, i));
      paintSite(context, x, y, radius, look);
    }
    for (const site of this.layout.siteList) this.paintLeader(context, site);
  }

  /** A fine line from a site to its place on the reach, where that can be told apart from the site itself. */
  paintTie(context, view, { i, trueX, trueY, radius }) {
    const toX = view.x(this.data.sites.snapped.x[i]);
    const toY = view.y(this.data.sites.snapped.y[i]);
    if (!(Math.hypot(toX - trueX, toY - trueY) > radius + 2)) return;
    context.beginPath();
    context.moveTo(trueX, trueY);
    context.lineTo(toX, toY);
    context.strokeStyle = styleColour("ink");
    context.lineWidth = 1;
    context.stroke();
    context.beginPath();
    context.arc(toX, toY, 2.5, 0, 2 * Math.PI);
    context.fillStyle = styleColour("ink");
    context.fill();
  }

  /** A line from the rim of a site that was moved to its true place, but not across the number of another site. */
  paintLeader(context, { x, y, trueX, trueY, radius }) {
    const away = Math.hypot(trueX - x, trueY - y);
    if (away <= radius) return;
    const at = (distance) => [x + ((trueX - x) * distance) / away, y + ((trueY - y) * distance) / away];
    const onNumber = ([px, py]) => this.layout.siteList.some((other) => Math.hypot(other.x - px, other.y - py) < radius / 2);
    let end = away;
    while (end > radius && onNumber(at(end))) end -= 0.5;
    context.beginPath();
    context.moveTo(...at(radius));
    context.lineTo(...at(end));
    for (const [name, width] of [["paper", 3.4], ["ink", 1.4]]) {
      context.strokeStyle = styleColour(name);
      context.lineWidth = width;
      context.stroke();
    }
  }

  /** An outline about what is selected, and a fainter one about what the pointer is on. */
  paintFocus(context, view) {
    if (this.hovered && !samePlace(this.hovered, this.selected)) this.paintOutline(context, view, this.hovered, "edge", 1.2);
    if (this.selected) this.paintOutline(context, view, this.selected, "ink", 2.6);
  }

  /** A hollow outline with a light halo, which no class of line has; and a ring about what is too small for one. */
  paintOutline(context, view, place, colour, edge) {
    const stroke = (name, width) => {
      context.strokeStyle = styleColour(name);
      context.lineWidth = width;
      context.stroke();
    };
    const outline = (width) => {
      stroke("paper", width + 3);
      stroke(colour, width);
    };
    context.lineCap = "round";
    if (place.kind !== "site" && place.kind !== "step") {
      const band = place.kind === "area" ? 0 : classWidth(this.data.reaches.rank[place.i], this.data.k) + 7;
      context.beginPath();
      tracePath(context, tableOf(this.data, place.kind).shapes, place.i, view, place.kind === "area");
      outline(band + 2 * edge);
      context.globalCompositeOperation = "destination-out";
      if (band) stroke("ink", band);
      this.clearSites(context);
      context.globalCompositeOperation = "source-over";
    }
    const rings = place.kind === "step" ? stepRings(this.data, this.layout, place.i) : [this.ringAbout(view, place)];
    for (const ring of rings.filter(Boolean)) {
      context.beginPath();
      context.arc(ring.x, ring.y, ring.radius, 0, 2 * Math.PI);
      outline(1.2 * edge);
    }
  }

  /** The outline passes below the sites. */
  clearSites(context) {
    if (!this.shown.sites) return;
    for (const { x, y, radius } of this.layout.siteList) {
      context.beginPath();
      context.arc(x, y, radius + 1.6, 0, 2 * Math.PI);
      context.fill();
    }
  }

  ringAbout(view, { kind, i }) {
    if (kind === "area") return null;
    const site = this.layout.siteList.find((other) => other.i === i);
    if (kind === "site") return site ? { x: site.x, y: site.y, radius: site.radius + 5 } : null;
    const [west, north, east, south] = this.data.reaches.shapes.box.subarray(4 * i, 4 * i + 4);
    const half = (Math.hypot(east - west, south - north) * view.scale) / 2;
    return half > SMALL_REACH ? null : { x: view.x((west + east) / 2), y: view.y((north + south) / 2), radius: half + 14 };
  }

  /** Mark a place as selected; when asked, move the map until it is seen beside what covers the map. */
  select(place, { move = false, covered = { left: 0, bottom: 0 } } = {}) {
    this.selected = place;
    this.showTip(null);
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
    if (kind === "step") return stepBounds(this.data, i, (site) => this.boundsOfPlace({ kind: "site", i: site }));
    if (kind === "site") {
      const { x, y } = this.data.sites.points;
      return Number.isFinite(x[i]) ? this.toLatLng(x[i], y[i]).toBounds(200) : null;
    }
    const { box } = tableOf(this.data, kind).shapes;
    if (!(box[4 * i] <= box[4 * i + 2])) return null;
    return L.latLngBounds(this.toLatLng(box[4 * i], box[4 * i + 3]), this.toLatLng(box[4 * i + 2], box[4 * i + 1]));
  }

  /** What lies at a point of the map: a site before a step before a reach before a sub-watershed. */
  placeAt(point, event) {
    const wide = event?.pointerType === "touch" ? 16 : 8;
    return this.siteAt(point) ?? this.stepAt(point) ?? this.reachAt(point, wide) ?? this.areaAt(point);
  }

  siteAt(point) {
    if (!this.shown.sites) return null;
    const { pad } = this.layers.sites.view;
    const near = this.layout.siteList.filter(({ x, y, radius }) => Math.hypot(x - pad.x - point.x, y - pad.y - point.y) <= radius + 2);
    return near.length ? { kind: "site", i: near[near.length - 1].i } : null;
  }

  reachAt(point, wide) {
    if (!this.shown.reaches) return null;
    const mark = this.badgeAt(point);
    if (mark) return mark;
    const { shapes } = this.data.reaches;
    const at = this.toWorld(point);
    const reach = wide / 2 ** this.map.getZoom();
    let best = { i: -1, distance: reach };
    this.reachGrid ??= new BoxGrid(shapes); // made when the pointer first asks for it
    for (const i of this.reachGrid.near(at.x, at.y, reach)) {
      if (this.kept.reach && !this.kept.reach[i]) continue;
      const distance = distanceTo(shapes, i, at.x, at.y);
      if (distance < best.distance) best = { i, distance };
    }
    return best.i < 0 ? null : { kind: "reach", i: best.i };
  }

  stepAt(point) {
    const { pad } = this.layers.badges.view;
    const found = this.layout.steps.find(({ x, y }) => Math.hypot(x - pad.x - point.x, y - pad.y - point.y) <= BADGE_RADIUS + 2);
    return found ? { kind: "step", i: found.n } : null;
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

  /** Only a mouse hovers: a finger that lifts would leave the tip behind. */
  hover(event) {
    if (event.pointerType !== "mouse" || event.buttons) return;
    const point = this.map.mouseEventToContainerPoint(event);
    const place = this.placeAt(point);
    this.map.getContainer().style.cursor = place ? "pointer" : "";
    this.showTip(place && place.kind !== "area" ? place : null, point);
  }

  /** Outline a place without a tip: the pointer or the focus is on its row of the table. */
  highlight(place) {
    if (samePlace(place, this.hovered)) return;
    this.hovered = place;
    this.refreshFocus();
  }

  showTip(place, point) {
    const tip = document.getElementById("map-tip");
    tip.hidden = !place;
    if (!samePlace(place, this.hovered)) {
      this.hovered = place;
      this.refreshFocus();
      this.onHover(place);
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
  if (kind === "step") return stepWords(data, i);
  const table = tableOf(data, kind);
  const held = table.rank[i] >= 0 ? [evidenceWords(data, kind, i), isUncertain(data, table, i) ? "uncertain" : ""].filter(Boolean).join(", ") : "";
  return `${fullName(table.id[i], table.name[i])}: ${classWords(data, kind, table.rank[i])}${held && ` (${held})`}`;
}
