// A canvas that lies in a pane of the map, moves and zooms with it, and is painted anew when the map rests.

const FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif";
const WATER_FONT = "Georgia, 'Times New Roman', serif";
const MARGIN = 0.15; // share of the map's size that is painted beyond each edge, so that a drag shows no gap
const SHARPEST = 2; // device pixels per pixel beyond which only memory grows

/** What the map shows, in world units and canvas pixels. */
function currentView(map) {
  const size = map.getSize();
  const pad = size.multiplyBy(MARGIN).round();
  const corner = map.containerPointToLayerPoint(pad.multiplyBy(-1)).round();
  const origin = map.getPixelOrigin().add(corner);
  const scale = 2 ** map.getZoom();
  const width = size.x + 2 * pad.x;
  const height = size.y + 2 * pad.y;
  return {
    zoom: map.getZoom(),
    scale,
    corner,
    pad,
    width,
    height,
    west: origin.x / scale,
    north: origin.y / scale,
    east: (origin.x + width) / scale,
    south: (origin.y + height) / scale,
    x: (x) => x * scale - origin.x,
    y: (y) => y * scale - origin.y,
  };
}

const PaneCanvas = L.Layer.extend({
  initialize(paint, options) {
    this.paint = paint;
    L.setOptions(this, options);
  },

  onAdd(map) {
    this.canvas = L.DomUtil.create("canvas", "pane-canvas leaflet-zoom-animated", this.getPane());
    this.canvas.setAttribute("aria-hidden", "true");
    map.on({ zoomanim: this.follow, zoom: this.stay }, this);
  },

  onRemove(map) {
    map.off({ zoomanim: this.follow, zoom: this.stay }, this);
    this.canvas.remove();
    this.view = null;
  },

  /** Paint for a view, sharper when asked (print). */
  refresh(view, sharpness) {
    if (!this.canvas) return;
    this.view = view;
    const ratio = sharpness ?? Math.min(SHARPEST, window.devicePixelRatio || 1);
    this.canvas.width = Math.round(view.width * ratio);
    this.canvas.height = Math.round(view.height * ratio);
    this.canvas.style.width = `${view.width}px`;
    this.canvas.style.height = `${view.height}px`;
    L.DomUtil.setTransform(this.canvas, view.corner, 1);
    const flat = sharpness && this.options.flat ? this.canvas.cloneNode() : this.canvas;
    const context = flat.getContext("2d");
    context.scale(ratio, ratio);
    context.lineJoin = "round";
    this.paint(context, view);
    if (flat !== this.canvas) this.canvas.getContext("2d").drawImage(flat, 0, 0);
  },

  stay() {
    this.follow({ center: this._map.getCenter(), zoom: this._map.getZoom() });
  },

  /** Stretch what is painted to where it will be after a zoom. */
  follow({ center, zoom }) {
    if (!this.view || !this._map) return;
    const scale = this._map.getZoomScale(zoom, this.view.zoom);
    const half = this._map.getSize().divideBy(2);
    const shift = this._map.layerPointToContainerPoint([0, 0]);
    const origin = this._map.project(center, zoom).subtract(half).add(shift).round();
    const corner = L.point(this.view.west, this.view.north).multiplyBy(2 ** zoom);
    L.DomUtil.setTransform(this.canvas, corner.subtract(origin), scale);
  },
});

/** Add the parts of a shape to the current path, leaving out vertices that fall on one another. */
function tracePath(context, shapes, i, view, close = false) {
  for (let part = shapes.firstPart[i]; part < shapes.firstPart[i + 1]; part += 1) {
    const end = shapes.firstVertex[part + 1];
    let lastX = Infinity;
    let lastY = Infinity;
    for (let v = shapes.firstVertex[part]; v < end; v += 1) {
      const x = view.x(shapes.x[v]);
      const y = view.y(shapes.y[v]);
      if (lastX === Infinity) context.moveTo(x, y);
      else if (v < end - 1 && Math.abs(x - lastX) + Math.abs(y - lastY) < 0.8) continue;
      else context.lineTo(x, y);
      lastX = x;
      lastY = y;
    }
    if (close) context.closePath();
  }
}
