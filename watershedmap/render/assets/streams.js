// Runs of reaches that follow each other: those of one name, to write it along, and those of one look, to draw them.

/**
 * Order reaches so that those of one group which follow each other stand together. `groups` holds a number for
 * each reach, below 0 for none. Returns the reaches, and where each run begins. Every reach is visited once.
 */
function chainRuns(groups, down) {
  const n = groups.length;
  const fed = new Uint8Array(n);
  for (let i = 0; i < n; i += 1) if (down[i] >= 0 && groups[i] >= 0 && groups[i] === groups[down[i]]) fed[down[i]] = 1;
  const order = [];
  const starts = [];
  const used = new Uint8Array(n);
  const follow = (head) => {
    starts.push(order.length);
    for (let i = head; i >= 0 && !used[i] && groups[i] === groups[head]; i = down[i]) {
      used[i] = 1;
      order.push(i);
    }
  };
  for (let i = 0; i < n; i += 1) if (groups[i] >= 0 && !fed[i]) follow(i);
  for (let i = 0; i < n; i += 1) if (groups[i] >= 0 && !used[i]) follow(i);
  return { order: Int32Array.from(order), starts: Int32Array.from([...starts, order.length]) };
}

/** Reaches of one name that follow each other, joined to lines that the name can be written along; longest first. */
function chainStreams(reaches) {
  const numbers = new Map([["", -1]]);
  const groups = Int32Array.from(reaches.name, (name) => {
    if (!numbers.has(name)) numbers.set(name, numbers.size);
    return numbers.get(name);
  });
  const { order, starts } = chainRuns(groups, reaches.down);
  const runs = picked(starts.length - 1, () => true).map((run) => {
    const members = order.subarray(starts[run], starts[run + 1]);
    let km = 0;
    for (const i of members) km += reaches.lengthKm[i] || 0;
    return { members, km };
  });
  runs.sort((a, b) => b.km - a.km);
  return { name: runs.map(({ members }) => reaches.name[members[0]]), members: runs.map(({ members }) => members), shapes: joinRuns(reaches.shapes, runs) };
}

/** One line for each run; each reach is turned so that it starts where the one before ended. */
function joinRuns(shapes, runs) {
  const sizes = runs.map(({ members }) => {
    let size = 0;
    for (const i of members) size += vertexRange(shapes, i)[1] - vertexRange(shapes, i)[0];
    return size;
  });
  const firstVertex = runningSum(sizes);
  const total = firstVertex[runs.length];
  const joined = { n: runs.length, firstPart: Uint32Array.from({ length: runs.length + 1 }, (_, i) => i), firstVertex, x: new Float64Array(total), y: new Float64Array(total) };
  runs.forEach(({ members }, run) => {
    let at = firstVertex[run];
    for (const i of members) at = appendLine(shapes, i, joined, at, at > firstVertex[run]);
  });
  joined.box = boxes(joined);
  joined.along = new Float64Array(total);
  for (let run = 0; run < joined.n; run += 1) {
    for (let v = firstVertex[run] + 1; v < firstVertex[run + 1]; v += 1) joined.along[v] = joined.along[v - 1] + stepLength(joined, v);
  }
  return joined;
}

function appendLine(shapes, i, joined, at, turn) {
  const [first, end] = vertexRange(shapes, i);
  const gap = (v) => Math.hypot(shapes.x[v] - joined.x[at - 1], shapes.y[v] - joined.y[at - 1]);
  const back = turn && end > first && gap(end - 1) < gap(first);
  for (let v = first; v < end; v += 1) {
    const from = back ? end - 1 - (v - first) : v;
    joined.x[at + v - first] = shapes.x[from];
    joined.y[at + v - first] = shapes.y[from];
  }
  return at + end - first;
}
