// A link that brings the same view back: the part of the address after "#". Nothing else of the page depends on it.

/** "at=40.1,12.3,10.5&place=reach:R1&show=c0&trace=R1" as an object; what is not understood is left out. */
function readAddress() {
  const found = new URLSearchParams(window.location.hash.slice(1));
  const [latitude, longitude, zoom] = (found.get("at") ?? "").split(",").map(Number);
  const at = [latitude, longitude, zoom].every(Number.isFinite) && found.get("at")?.split(",").length === 3 && Math.abs(latitude) <= 90 ? { latitude, longitude, zoom } : null;
  const [kind, ...id] = (found.get("place") ?? "").split(":");
  const known = ["site", "reach", "area", "step"].includes(kind) && id.length;
  return { at, place: known ? { kind, id: id.join(":") } : null, show: found.get("show") ?? "", trace: found.get("trace") ?? "", shade: found.get("shade") ?? "class", period: found.get("period") ?? "" };
}

function writeAddress(map, { place, show, trace, shade, period }) {
  const { lat, lng } = map.getCenter();
  const parts = new URLSearchParams();
  parts.set("at", [lat.toFixed(5), lng.toFixed(5), map.getZoom().toFixed(2)].join(","));
  if (place) parts.set("place", `${place.kind}:${place.id}`);
  if (show) parts.set("show", show);
  if (shade !== "class") parts.set("shade", shade);
  if (trace) parts.set("trace", trace);
  if (period) parts.set("period", String(period.last));
  try {
    window.history.replaceState(null, "", `#${parts}`);
  } catch {
    // Some browsers refuse this for a file that was opened from a mail; the page works without it.
  }
}
