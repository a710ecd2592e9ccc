// Puts the parts together: one selection, shown on the map, in the table and in the panel.

/** Width of the map, pixels, from which the legend leaves enough of it to be open at the start. */
const ROOM_FOR_LEGEND = 700;

async function startPage(map) {
  if (!window.DecompressionStream) {
    document.querySelector(".stage").prepend(element("p", { class: "noscript", role: "alert" }, "This browser is too old for the map (it cannot unpack the reaches). Any browser of 2023 or later can; the tables written beside this page say the same."));
    return;
  }
  const data = await readData();
  const page = new MapPage(map, data);
  window.watershedmap = page.describe();
  requestAnimationFrame(() => setTimeout(() => {
    document.documentElement.dataset.ready = String(Math.round(performance.now()));
  }));
}

class MapPage {
  constructor(map, data) {
    this.map = map;
    this.data = data;
    this.selected = null;
    this.printing = false;
    this.panel = document.getElementById("panel");
    this.legend = document.getElementById("legend");
    this.announcer = document.getElementById("announcer");
    this.choose = (place, from) => this.select(place, { from, move: true });
    this.theme = new Theme(document.getElementById("theme"), () => this.redraw());
    this.watershed = new WatershedMap(map, data, (place) => this.select(place, { onMap: true }), (place) => this.tables.hover(place));
    this.periods = new PeriodChoice(document.getElementById("periods"), data, (n) => this.showPeriod(n));
    if (data.background) this.background = new Background(map, data.background);
    this.drawLegend();
    this.tables = new PlaceTables(document.getElementById("tables"), data, this.choose, {
      onHover: (place) => this.watershed.highlight(place),
      onFilter: (masks) => this.applyFilters(masks),
    });
    this.addFirstLook();
    this.addNotices();
    this.addControls();
    this.followSize();
    document.addEventListener("keydown", (event) => this.onKey(event));
    this.followAddress();
  }

  /** Escape takes back one thing: the trace, then the selection. T traces, from the panel or from the map. */
  onKey(event) {
    if (event.key === "Escape") {
      if (this.watershed.trace) this.clearTrace();
      else if (this.selected) this.close();
    }
    const here = event.target.closest?.("#panel, .folium-map");
    if (here && event.key.toLowerCase() === "t" && !event.ctrlKey && !event.metaKey && !event.altKey) document.getElementById("trace-button")?.click();
  }

  /** Show everything upstream of a reach and the way down to the outlet, on the map, in the panel and in the legend. */
  startTrace(reach) {
    const trace = traceFrom(currentOf(this.data), reach);
    if (!trace) return;
    this.watershed.showTrace(trace);
    this.fillTrace(trace);
    this.showTraceInLegend(true);
    this.announcer.textContent = traceWords(this.data, trace);
    this.writeAddress();
  }

  clearTrace() {
    const inside = document.getElementById("trace-summary")?.contains(document.activeElement);
    document.getElementById("trace-summary")?.replaceChildren();
    this.watershed.showTrace(null);
    this.showTraceInLegend(false);
    this.announcer.textContent = "Trace cleared";
    if (inside) document.getElementById("trace-button").focus();
    this.writeAddress();
  }

  showTraceInLegend(on) {
    document.getElementById("legend-trace")?.remove();
    if (on) this.legend.querySelector(".legend-head").after(traceSection());
  }

  /** Show one period, or the current condition (-1), everywhere but in what is about all years. */
  showPeriod(n) {
    setPeriod(this.data, n);
    this.periods.show();
    this.drawLegend();
    this.addFirstLook();
    this.watershed.showTip(null);
    this.tables.filters.apply();
    if (this.selected) this.fillPanel(this.selected);
  }

  applyFilters(masks) {
    this.watershed.filter(masks);
    this.writeAddress();
  }

  /** Take the view from the address, and keep the address at the view from then on. */
  followAddress() {
    this.readAddress();
    window.addEventListener("hashchange", () => this.readAddress());
    this.map.on("moveend", () => this.watershed.fitting || this.writeAddress());
    this.map.on("shaded", () => this.writeAddress());
    this.following = true;
  }

  readAddress() {
    const { at, place, show, trace, shade, period } = readAddress();
    const following = this.following;
    this.following = false;
    if (at) this.map.setView([at.latitude, at.longitude], at.zoom, { animate: false });
    const wanted = this.periods.find(period);
    if (wanted !== (this.data.periods ?? []).indexOf(this.data.period)) this.showPeriod(wanted);
    if (shade !== this.watershed.measure) {
      this.watershed.shadeAreas(shade);
      this.drawLegend();
    }
    if (show !== this.tables.filters.write()) this.tables.filters.read(show);
    const i = place && tableOf(this.data, place.kind) ? tableOf(this.data, place.kind).id.indexOf(place.id) : -1;
    if (i >= 0) this.select({ kind: place.kind, i }, { onMap: true });
    if (trace) this.startTrace(this.data.reaches.id.indexOf(trace));
    this.following = following;
  }

  writeAddress() {
    if (!this.following || this.printing) return;
    const place = this.selected ? { kind: this.selected.kind, id: tableOf(this.data, this.selected.kind).id[this.selected.i] } : null;
    writeAddress(this.map, { place, show: this.tables.filters.write(), trace: this.watershed.trace ? this.data.reaches.id[this.watershed.trace.reach] : "", shade: this.watershed.measure, period: this.data.period });
  }

  addControls() {
    L.control.scale({ position: "bottomright", maxWidth: 140 }).addTo(this.map);
    const opener = document.getElementById("legend-open");
    const setOpen = (open) => {
      document.body.classList.toggle("legend-shown", open);
      opener.setAttribute("aria-expanded", String(open));
      opener.textContent = open ? "Hide legend" : "Legend";
    };
    opener.addEventListener("click", () => setOpen(!document.body.classList.contains("legend-shown")));
    setOpen(this.map.getSize().x >= ROOM_FOR_LEGEND);
    this.watershed.fit(this.coveredLeft());
  }

  /** Paint anew when the map's box changes, and at the size of the paper before printing. */
  followSize() {
    let width = this.map.getSize().x;
    const settle = () => {
      this.map.invalidateSize({ animate: false });
      const now = this.map.getSize().x;
      if (Math.abs(now - width) > 60) this.watershed.fit(this.coveredLeft());
      width = now;
    };
    new ResizeObserver(settle).observe(this.map.getContainer());
    const print = (on) => {
      document.body.classList.toggle("printing", on);
      if (this.theme.print(on)) this.redraw();
      this.tables.print(on);
      if (on !== this.printing) this.openNotices(on);
      this.printing = on;
      this.map.invalidateSize({ animate: false });
      this.watershed.fit(this.coveredLeft());
      this.watershed.refresh(on ? 3 : undefined);
    };
    window.addEventListener("beforeprint", () => print(true));
    window.addEventListener("afterprint", () => print(false));
    window.matchMedia("print").addEventListener("change", (event) => print(event.matches));
  }

  drawLegend() {
    this.legend.replaceChildren(...buildLegend(this.data, this.watershed, () => this.watershed.fit(this.coveredLeft())).flat(Infinity));
    if (this.background) this.legend.append(this.background.section());
    this.showTraceInLegend(Boolean(this.watershed.trace));
  }

  /** Draw anew what carries colours of the theme, and leave everything else as the reader had it. */
  redraw() {
    this.drawLegend();
    this.tables.render();
    const opened = [...this.panel.querySelectorAll('.open-sample[aria-expanded="true"]')].map((button) => button.getAttribute("aria-controls"));
    if (this.selected) this.fillPanel(this.selected);
    for (const id of opened) this.panel.querySelector(`[aria-controls="${id}"]`).click();
    this.watershed.refresh();
  }

  fillPanel(place) {
    this.panel.replaceChildren(...buildPanel(currentOf(this.data), place, this.choose, () => this.close(), (reach) => this.startTrace(reach)).flat(Infinity).filter(Boolean));
    if (this.data.period) this.panel.querySelector(".panel-body").prepend(periodBlock(this.data, place));
    if (this.watershed.trace) this.fillTrace(this.watershed.trace);
  }

  fillTrace(trace) {
    document.getElementById("trace-summary")?.replaceChildren(traceBlock(currentOf(this.data), trace, this.choose, () => this.clearTrace()), this.data.period ? element("p", { class: "note" }, "The classes of the trace are those of the current condition.") : "");
  }

  /** What lies over the map: the legend at the left, and on a phone the panel at the bottom. */
  covered() {
    const box = this.panel.getBoundingClientRect();
    const sheet = !this.panel.hidden && getComputedStyle(this.panel).position === "fixed";
    const bottom = sheet ? this.map.getContainer().getBoundingClientRect().bottom - box.top : 0;
    return { left: this.coveredLeft(), bottom: Math.max(0, bottom), sheet };
  }

  coveredLeft() {
    const box = this.legend.getBoundingClientRect();
    const map = this.map.getContainer().getBoundingClientRect();
    const over = box.width && box.top < map.bottom && box.left < map.left + map.width / 4 ? box.right - map.left : 0;
    return over > map.width / 2 ? 0 : Math.max(0, over);
  }

  select(place, { from = null, move = false, onMap = false } = {}) {
    if (!place) return this.close();
    this.selected = place;
    this.cameFrom = from ?? (onMap ? null : this.cameFrom);
    this.fillPanel(place);
    this.panel.hidden = false;
    this.panel.scrollTop = 0;
    document.body.classList.add("panel-open");
    const { sheet } = this.covered();
    this.tables.select(place, { scroll: !sheet });
    if (sheet) document.querySelector(".map-box").scrollIntoView({ block: "start" });
    this.watershed.select(place, { move: move || sheet, covered: this.covered() });
    this.announcer.textContent = this.describePlace(place);
    if (!onMap) document.getElementById("panel-title").focus({ preventScroll: true });
    this.writeAddress();
    return place;
  }

  close() {
    const before = this.selected;
    this.selected = null;
    this.panel.hidden = true;
    document.body.classList.remove("panel-open");
    this.watershed.select(null);
    this.tables.select(null);
    if (before) this.announcer.textContent = "Selection closed";
    if (before && this.cameFrom) (this.cameFrom.isConnected ? this.cameFrom : this.tables.pickOf(before.i))?.focus();
    this.cameFrom = null;
    this.writeAddress();
  }

  describePlace({ kind, i }) {
    if (kind === "step") return `${KIND_WORDS.step} ${stepWords(this.data, i)}`;
    const table = tableOf(this.data, kind);
    const evidence = evidenceWords(this.data, kind, i);
    const score = missing(table.score[i]) ? "score unknown" : `score ${figure(table.score[i], this.data.index.decimals)}`;
    const rank = table.rank[i] < 0 ? noClass(kind, this.data) : `class ${classWords(this.data, kind, table.rank[i])}`;
    const words = table.rank[i] < 0 ? [rank, score] : [rank, score, evidence, isUncertain(this.data, table, i) ? "class uncertain" : ""];
    const period = periodOf(this.data, kind);
    return `${KIND_WORDS[kind]} ${fullName(table.id[i], table.name[i])}${period ? ` in ${period.label}` : ""}: ${words.filter(Boolean).join(", ")}`;
  }

  addFirstLook() {
    const { reaches, index } = this.data;
    const worst = worstReaches(this.data, 3);
    const list = document.getElementById("first-look-list");
    list.replaceChildren();
    document.getElementById("first-look-title").textContent = `Worst measured reaches${this.data.period ? ` in ${this.data.period.label}` : ""}`;
    const measured = reaches.evidence.includes(EVIDENCE.measured);
    if (!worst.length) list.append(element("p", {}, measured ? `No measured reach is below class ${classWords(this.data, "reach", 0)}.` : "No reach is measured yet."));
    list.append(...worst.map((i) => element("button", { type: "button", class: "look", onclick: (event) => this.choose({ kind: "reach", i }, event.currentTarget) },
      classTile(this.data, reaches.rank[i], "", isUncertain(this.data, reaches, i)),
      element("span", {},
        element("b", {}, fullName(reaches.id[i], reaches.name[i])),
        element("span", { class: "look-score" }, `${index.classes[reaches.rank[i]].label}, ${figure(reaches.score[i], index.decimals)}${isUncertain(this.data, reaches, i) ? ", uncertain" : ""}`)))));
  }

  addNotices() {
    const { notices } = this.data;
    if (!notices.length) return;
    this.notices = element("details", {},
      element("summary", {}, counted(notices.length, "notice about the data", "notices about the data")),
      element("ul", {}, notices.map((text) => element("li", {}, text))));
    document.getElementById("notices").append(this.notices);
  }

  /** Paper cannot be unfolded: show all notices on it, and leave them afterwards as the reader had them. */
  openNotices(on) {
    if (!this.notices) return;
    if (on) this.noticesOpen = this.notices.open;
    this.notices.open = on || this.noticesOpen;
  }

  /** A small view of the page for tests: counts, positions on the screen, what is selected. */
  describe() {
    const { data, watershed } = this;
    const screen = (x, y) => {
      const point = watershed.toScreen(x, y);
      const box = this.map.getContainer().getBoundingClientRect();
      return { x: box.left + point.x, y: box.top + point.y };
    };
    return Object.freeze({
      counts: Object.freeze({ reaches: data.reaches.n, sites: data.sites.n, areas: data.areas ? data.areas.n : 0 }),
      panes: Object.freeze([...PANES]),
      selected: () => (this.selected ? { kind: this.selected.kind, id: tableOf(data, this.selected.kind).id[this.selected.i] } : null),
      badges: () => watershed.layout.badges.map(({ reach, trend }) => ({ reach: data.reaches.id[reach], trend: data.trends[trend] })),
      labels: () => watershed.layout.labels.map(({ text }) => text),
      reachPoint: (id, share = 0.5) => {
        const { shapes } = data.reaches;
        const part = shapes.firstPart[data.reaches.id.indexOf(id)];
        const point = pointAlong(shapes, part, share * partLength(shapes, part));
        return screen(point.x, point.y);
      },
      sitePoint: (id) => {
        const i = data.sites.id.indexOf(id);
        return screen(data.sites.points.x[i], data.sites.points.y[i]);
      },
      lookOf: (id) => {
        const i = data.reaches.id.indexOf(id);
        const { look } = watershed.lines.groups.find(({ members }) => members.includes(i) || members.includes(~i));
        const { colour, width, dash, casing } = look(watershed.lines.thinness(currentView(watershed.map)));
        return { colour, width, dash, casing };
      },
      trace: () => (watershed.trace ? { up: [...watershed.trace.up].map((i) => data.reaches.id[i]), way: [...watershed.trace.way].map((i) => data.reaches.id[i]) } : null),
      hovered: () => (watershed.hovered ? { kind: watershed.hovered.kind, id: tableOf(data, watershed.hovered.kind).id[watershed.hovered.i] } : null),
      steps: () => (watershed.layout.steps ?? []).map(({ n }) => data.sites.id[data.steps.from[n]]),
      stepPoint: (id) => {
        const { pad } = watershed.layers.badges.view;
        const mark = watershed.layout.steps.find(({ n }) => data.sites.id[data.steps.from[n]] === id);
        const box = this.map.getContainer().getBoundingClientRect();
        return mark ? { x: box.left + mark.x - pad.x, y: box.top + mark.y - pad.y } : null;
      },
      sites: () => watershed.layout.siteList.map(({ i, x, y, trueX, trueY, radius }) => ({ id: data.sites.id[i], x, y, trueX, trueY, radius, mark: siteLook(data, data.sites.rank[i], data.sites.current[i], isUncertain(data, data.sites, i)).label })),
    });
  }
}
