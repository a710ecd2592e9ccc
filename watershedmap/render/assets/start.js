// Puts the parts together: one selection, shown on the map, in the table and in the panel.

/** Width of the map, pixels, from which the legend leaves enough of it to be open at the start. */
const ROOM_FOR_LEGEND = 700;

function startPage(map) {
  const data = readData();
  const page = new MapPage(map, data);
  window.watershedmap = page.describe();
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
    this.watershed = new WatershedMap(map, data, (place) => this.select(place, { onMap: true }));
    this.legend.append(...buildLegend(data, this.watershed, () => this.watershed.fit(this.coveredLeft())).flat(Infinity));
    this.tables = new PlaceTables(document.getElementById("tables"), data, this.choose);
    this.addFirstLook();
    this.addNotices();
    this.addControls();
    this.followSize();
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && this.selected) this.close();
    });
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
    this.panel.replaceChildren(...buildPanel(this.data, place, this.choose, () => this.close()).flat(Infinity).filter(Boolean));
    this.panel.hidden = false;
    this.panel.scrollTop = 0;
    document.body.classList.add("panel-open");
    const { sheet } = this.covered();
    this.tables.select(place, { scroll: !sheet });
    if (sheet) document.querySelector(".map-box").scrollIntoView({ block: "start" });
    this.watershed.select(place, { move: move || sheet, covered: this.covered() });
    this.announcer.textContent = this.describePlace(place);
    if (!onMap) document.getElementById("panel-title").focus({ preventScroll: true });
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
  }

  describePlace({ kind, i }) {
    const table = tableOf(this.data, kind);
    const evidence = evidenceWords(this.data, kind, i);
    const score = table.score[i] === null ? "score unknown" : `score ${figure(table.score[i], this.data.index.decimals)}`;
    const rank = table.rank[i] < 0 ? noClass(kind) : `class ${classWords(this.data, kind, table.rank[i])}`;
    const words = table.rank[i] < 0 ? [rank, score] : [rank, score, evidence, isUncertain(this.data, table, i) ? "class uncertain" : ""];
    return `${KIND_WORDS[kind]} ${fullName(table.id[i], table.name[i])}: ${words.filter(Boolean).join(", ")}`;
  }

  addFirstLook() {
    const { reaches, index } = this.data;
    const worst = worstReaches(this.data, 3);
    const list = document.getElementById("first-look-list");
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
      sites: () => watershed.layout.siteList.map(({ i, x, y, trueX, trueY, radius }) => ({ id: data.sites.id[i], x, y, trueX, trueY, radius, mark: siteLook(data, data.sites.rank[i], data.sites.current[i], isUncertain(data, data.sites, i)).label })),
    });
  }
}
