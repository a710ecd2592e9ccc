// The packed reaches: inflated once, each column decoded when it is first asked for. page_pack.py writes them.

/** Bytes of the block, inflated by the browser itself; nothing is asked of a network for that. */
async function inflateBlock(id) {
  const node = document.getElementById(id);
  const deflated = fromBase64(node.textContent);
  node.remove(); // it is not needed again, and may be large
  const inflated = new Blob([deflated]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  return new Uint8Array(await new Response(inflated).arrayBuffer());
}

function fromBase64(text) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text); // only newer browsers have it
  const letters = atob(text);
  const bytes = new Uint8Array(letters.length);
  for (let i = 0; i < letters.length; i += 1) bytes[i] = letters.charCodeAt(i);
  return bytes;
}

/** A value of an object that is made when it is first read. */
function lazily(object, name, make) {
  Object.defineProperty(object, name, {
    configurable: true,
    enumerable: true,
    get() {
      const value = make();
      Object.defineProperty(object, name, { value, enumerable: true });
      return value;
    },
  });
}

/** The table of a block. A missing number is NaN, a missing position -1; lists are read with `of(i)`. */
function unpackTable({ n, columns }, bytes) {
  const table = { n };
  for (const [name, column] of Object.entries(columns)) lazily(table, name, () => unpackColumn(table, name, column, bytes));
  for (const name of ["chances", "upClassKm"]) lazily(table, name, () => columnsInOne(table, name, columns));
  return table;
}

function unpackColumn(table, name, column, bytes) {
  if (column.kind === "texts") return JSON.parse(new TextDecoder().decode(bytes.subarray(column.at, column.at + column.size)));
  if (column.kind === "words") return Array.from(table[`${name}.word`], (word) => table[`${name}.words`][word]);
  if (column.kind === "ids") return unpackIds(table[`${name}.number`], column);
  if (column.kind === "lists") return new ListColumn(table[`${name}.size`], table[`${name}.item`]);
  if (column.kind === "shapes") return unpackShapes(table, name, column);
  const codes = unpackCodes(column, bytes);
  if (column.kind === "numbers") return unpackNumbers(table, column, codes);
  return unpackPositions(column, codes);
}

/** Ids that are one beginning and a number, of which the differences stand. */
function unpackIds(steps, { head, digits }) {
  let number = 0;
  return Array.from(steps, (step) => {
    number += step;
    return head + String(number).padStart(digits, "0");
  });
}

/** Whole numbers with their sign, or positions; in place. */
function unpackPositions({ kind, least }, codes) {
  for (let i = 0; i < codes.length; i += 1) {
    const code = codes[i];
    if (kind === "picks") codes[i] = code ? code - 1 + least : -1;
    else if (kind === "signed" || code) codes[i] = (code % 2 ? -(code + 1) / 2 : code / 2) + (kind === "near" ? i : 0);
    else codes[i] = -1;
  }
  return codes;
}

/** Whole numbers from their bytes, which stand by significance. */
function unpackCodes({ at, width, n }, bytes) {
  const codes = width > 3 ? new Float64Array(n) : new Int32Array(n);
  for (let plane = 0; plane < width; plane += 1) {
    const weight = 256 ** plane;
    const from = at + plane * n;
    for (let i = 0; i < n; i += 1) codes[i] += weight * bytes[from + i];
  }
  return codes;
}

function unpackNumbers(table, { decimals, least, less }, codes) {
  const scale = 10 ** decimals;
  const numbers = new Float64Array(codes.length);
  for (let i = 0; i < codes.length; i += 1) {
    const beside = less && codes[i] ? Math.round((table[less[0]][i] - table[less[1]][i]) * scale) : 0;
    numbers[i] = codes[i] ? (codes[i] - 1 + least + beside) / scale : NaN;
  }
  return numbers;
}

/** Columns "name.0", "name.1" and so on: a list of them, and with `of(i)` their values in a row where it has all. */
function columnsInOne(table, name, columns) {
  const list = [];
  for (let n = 0; columns[`${name}.${n}`]; n += 1) list.push(table[`${name}.${n}`]);
  list.of = (i) => {
    const row = list.map((column) => column[i]);
    return row.some(missing) ? [] : row;
  };
  return list;
}

class ListColumn {
  constructor(sizes, items) {
    this.first = runningSum(sizes);
    this.items = items;
  }

  of(i) {
    return [...this.items.subarray(this.first[i], this.first[i + 1])];
  }
}

/** A value of a column, whichever way the column is held. */
function valueAt(column, i) {
  return column.of ? column.of(i) : column[i];
}

/** Lines of a network, as page_pack.py and coordinates.py code them, in world units. */
function unpackShapes(table, name, { linked, curved, perDegree }) {
  const part = (of) => table[`${name}.${of}`];
  const shapes = { n: table.n, firstPart: runningSum(part("parts")), firstVertex: runningSum(part("sizes")) };
  const count = shapes.firstVertex[shapes.firstVertex.length - 1];
  shapes.x = new Float64Array(count);
  shapes.y = new Float64Array(count);
  for (const axis of ["x", "y"]) unrollParts(shapes, shapes[axis], part(axis), part(`first_${axis}`), curved);
  hangUp(shapes, linked ? table.down : null, part("first_x"), part("first_y"));
  for (let v = 0; v < count; v += 1) {
    shapes.x[v] = worldX(shapes.x[v] / perDegree);
    shapes.y[v] = worldY(shapes.y[v] / perDegree);
  }
  shapes.box = boxes(shapes);
  return shapes;
}

/** Add up the steps within each line, from 0 at its first vertex. */
function unrollParts({ n, firstPart, firstVertex }, values, steps, firsts, curved) {
  let next = 0;
  for (let i = 0; i < n; i += 1) {
    for (let part = firstPart[i]; part < firstPart[i + 1]; part += 1) {
      const first = firstVertex[part];
      values[first] = part > firstPart[i] ? values[first - 1] + firsts[part] : 0;
      let step = 0;
      for (let v = first + 1; v < firstVertex[part + 1]; v += 1) {
        step = curved ? step + steps[next] : steps[next];
        values[v] = values[v - 1] + step;
        next += 1;
      }
    }
  }
}

/** Move each line to its place: its end to the start of the line it flows into, that one first. */
function hangUp(shapes, down, firstX, firstY) {
  const { n, firstPart, x, y } = shapes;
  const placed = new Uint8Array(n);
  const has = (i) => firstPart[i] < firstPart[i + 1];
  const hangs = (i) => down !== null && down[i] >= 0 && has(down[i]);
  let [freeX, freeY] = [0, 0];
  const move = (i, toX, toY) => {
    const [first, end] = vertexRange(shapes, i);
    for (let v = first; v < end; v += 1) {
      x[v] += toX;
      y[v] += toY;
    }
    placed[i] = 1;
  };
  for (let i = 0; i < n; i += 1) {
    if (!has(i) || hangs(i)) continue;
    freeX += firstX[firstPart[i]];
    freeY += firstY[firstPart[i]];
    move(i, freeX, freeY);
  }
  const way = [];
  for (let start = 0; start < n; start += 1) {
    for (let i = start; has(i) && !placed[i]; i = down[i]) way.push(i);
    while (way.length) {
      const i = way.pop();
      const [below] = vertexRange(shapes, down[i]);
      const last = vertexRange(shapes, i)[1] - 1;
      move(i, x[below] + firstX[firstPart[i]] - x[last], y[below] + firstY[firstPart[i]] - y[last]);
    }
  }
}
