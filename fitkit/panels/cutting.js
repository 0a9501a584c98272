// Cut triangle meshes with planes of the head frame, fast enough to follow a pointer.
//
// Lengths are millimetres. Points are right, front, up: columns 0, 1, 2.

// Faces in one run; runs that the plane misses are skipped whole.
const RUN = 64;

// A mesh as it was sent: float32 points (n, 3), uint32 faces (m, 3) that lie near each
// other in runs, and lift, a shift of each point that does not grow with the size.
export class Body {
  constructor({ name, role, moves, points, faces, lift }) {
    Object.assign(this, { name, role, moves, points, faces, lift });
    this.runs = runSpheres(points, faces);
    this.liftMost = lift ? longest(lift) : 0;
  }
}

// Centre and radius around each run of faces: four numbers a run.
function runSpheres(points, faces) {
  const count = faces.length / 3;
  const spheres = new Float32Array(4 * Math.ceil(count / RUN));
  for (let run = 0; run * RUN < count; run++) {
    const from = 3 * run * RUN;
    const to = Math.min(from + 3 * RUN, faces.length);
    const low = [Infinity, Infinity, Infinity];
    const high = [-Infinity, -Infinity, -Infinity];
    for (let at = from; at < to; at++) {
      for (let k = 0; k < 3; k++) {
        const value = points[3 * faces[at] + k];
        if (value < low[k]) low[k] = value;
        if (value > high[k]) high[k] = value;
      }
    }
    let square = 0;
    for (let k = 0; k < 3; k++) {
      spheres[4 * run + k] = (low[k] + high[k]) / 2;
      square += ((high[k] - low[k]) / 2) ** 2;
    }
    spheres[4 * run + 3] = Math.sqrt(square);
  }
  return spheres;
}

function longest(vectors) {
  let most = 0;
  for (let at = 0; at < vectors.length; at += 3) {
    most = Math.max(most, Math.hypot(vectors[at], vectors[at + 1], vectors[at + 2]));
  }
  return most;
}

// -- where a body lies ---------------------------------------------------------------

// A map carries a point p with lift u to  grow p + turn u + shift  in the head frame.
// grow and turn are row-major 3 by 3.
export const STILL = {
  grow: [1, 0, 0, 0, 1, 0, 0, 0, 1],
  turn: [1, 0, 0, 0, 1, 0, 0, 0, 1],
  shift: [0, 0, 0],
};

// Right-handed turn about a unit axis by an angle in radians, row-major.
export function turnAbout([x, y, z], angle) {
  const c = Math.cos(angle), s = Math.sin(angle), d = 1 - c;
  return [
    c + x * x * d, x * y * d - z * s, x * z * d + y * s,
    y * x * d + z * s, c + y * y * d, y * z * d - x * s,
    z * x * d - y * s, z * y * d + x * s, c + z * z * d,
  ];
}

export function product(a, b) {
  const c = new Array(9);
  for (let i = 0; i < 3; i++) {
    for (let j = 0; j < 3; j++) {
      c[3 * i + j] = a[3 * i] * b[j] + a[3 * i + 1] * b[3 + j] + a[3 * i + 2] * b[6 + j];
    }
  }
  return c;
}

export function applied(m, [x, y, z]) {
  return [0, 3, 6].map((row) => m[row] * x + m[row + 1] * y + m[row + 2] * z);
}

// The placement that the number boxes describe: size, then roll, pitch, yaw, then shift.
// Pitch counts chin down as positive, which is the reverse of a right-handed turn.
export function pieceMap(values) {
  const rad = Math.PI / 180;
  const yaw = turnAbout([0, 0, 1], values.yaw_deg * rad);
  const pitch = turnAbout([1, 0, 0], -values.pitch_deg * rad);
  const roll = turnAbout([0, 1, 0], values.roll_deg * rad);
  const turn = product(product(yaw, pitch), roll);
  const size = ["across_percent", "depth_percent", "height_percent"].map(
    (name) => (values.size_percent / 100) * (values[name] / 100));
  return {
    grow: turn.map((value, at) => value * size[at % 3]),
    turn,
    shift: [values.right_mm, values.front_mm, values.up_mm],
    size,
  };
}

// The jaw goes with the piece and turns about its hinge, rigid at its full size.
export function jawMap(piece, hinge, openDeg) {
  if (!hinge || !openDeg) return piece;
  const [left, right] = hinge.map((end) => end.map((value, k) => value * piece.size[k]));
  const along = right.map((value, k) => value - left[k]);
  const length = Math.hypot(...along);
  const open = turnAbout(along.map((value) => value / length), (-openDeg * Math.PI) / 180);
  const held = applied(open, left).map((value, k) => left[k] - value);
  const moved = applied(piece.turn, held);
  const turn = product(piece.turn, open);
  return {
    grow: turn.map((value, at) => value * piece.size[at % 3]),
    turn,
    shift: piece.shift.map((value, k) => value + moved[k]),
    size: piece.size,
  };
}

export function carried(map, point) {
  return applied(map.grow, point).map((value, k) => value + map.shift[k]);
}

// -- cutting -------------------------------------------------------------------------

// Cut a body, where `map` puts it, with the plane at `offset` along head axis `axis`
// (0 right, 1 front, 2 up). Gives polylines of crossings: points `at` (k, 2) along the
// other two axes, and for each crossing the mesh edge `ends` (k, 2) and the `share` of
// the way along it. A point on the plane counts as beyond it, for every face alike.
export function cut(body, map, axis, offset) {
  const { points, faces, lift, runs } = body;
  const row = 3 * axis;
  const [a, b, c] = map.grow.slice(row, row + 3);
  const [p, q, r] = map.turn.slice(row, row + 3);
  const base = map.shift[axis] - offset;
  const stretch = Math.hypot(a, b, c);
  const height = (v) => {
    const at = 3 * v;
    const plain = a * points[at] + b * points[at + 1] + c * points[at + 2] + base;
    return lift ? plain + p * lift[at] + q * lift[at + 1] + r * lift[at + 2] : plain;
  };
  const found = new Crossings(body, map, axis);
  for (let run = 0, sphere = 0; sphere < runs.length; run++, sphere += 4) {
    const far = a * runs[sphere] + b * runs[sphere + 1] + c * runs[sphere + 2] + base;
    if (Math.abs(far) > runs[sphere + 3] * stretch + body.liftMost + 1e-3) continue;
    const to = Math.min(3 * (run + 1) * RUN, faces.length);
    for (let at = 3 * run * RUN; at < to; at += 3) {
      const i = faces[at], j = faces[at + 1], k = faces[at + 2];
      const hi = height(i), hj = height(j), hk = height(k);
      const above = (hi >= 0) + (hj >= 0) + (hk >= 0);
      if (above === 0 || above === 3) continue;
      // The corner alone on its side, and the two others in the face's order.
      if ((hi >= 0) === (above === 1)) found.face(i, j, k, hi, hj, hk, above === 1);
      else if ((hj >= 0) === (above === 1)) found.face(j, k, i, hj, hk, hi, above === 1);
      else found.face(k, i, j, hk, hi, hj, above === 1);
    }
  }
  return found.polylines();
}

// Collects the crossings of mesh edges and joins them, face by face, into polylines.
class Crossings {
  constructor(body, map, axis) {
    Object.assign(this, { body, map, across: axis === 0 ? 1 : 0, up: axis === 2 ? 1 : 2 });
    this.known = new Map();
    this.ends = [];
    this.share = [];
    this.next = [];
    this.entered = [];
  }

  // Corner `u` is alone on its side; the cut runs between the edges u-v and w-u.
  face(u, v, w, hu, hv, hw, upper) {
    const first = this.crossing(u, v, hu, hv), second = this.crossing(w, u, hw, hu);
    if (upper) this.join(first, second);
    else this.join(second, first);
  }

  crossing(u, v, hu, hv) {
    if (u > v) [u, v, hu, hv] = [v, u, hv, hu];
    const key = u * (this.body.points.length / 3) + v;
    let index = this.known.get(key);
    if (index === undefined) {
      index = this.add(u, v, hu / (hu - hv));
      this.known.set(key, index);
    }
    return index;
  }

  add(u, v, share) {
    this.ends.push(u, v);
    this.share.push(share);
    this.next.push(-1);
    this.entered.push(false);
    return this.share.length - 1;
  }

  again(index) {
    return this.add(this.ends[2 * index], this.ends[2 * index + 1], this.share[index]);
  }

  // Where more than two faces meet in an edge, its crossing is taken anew.
  join(from, to) {
    if (this.next[from] >= 0) from = this.again(from);
    if (this.entered[to]) to = this.again(to);
    this.next[from] = to;
    this.entered[to] = true;
  }

  polylines() {
    const lines = [];
    const done = new Uint8Array(this.next.length);
    const walk = (start) => {
      const ids = [];
      let at = start;
      while (at >= 0 && !done[at]) {
        done[at] = 1;
        ids.push(at);
        at = this.next[at];
      }
      lines.push(this.line(ids, at === start));
    };
    for (let at = 0; at < done.length; at++) if (!this.entered[at]) walk(at);
    for (let at = 0; at < done.length; at++) if (!done[at]) walk(at);
    return lines.filter((line) => line.share.length > 1);
  }

  line(ids, closed) {
    const at = new Float32Array(2 * ids.length), ends = new Uint32Array(2 * ids.length);
    const share = new Float32Array(ids.length);
    ids.forEach((id, k) => {
      const u = this.ends[2 * id], v = this.ends[2 * id + 1], t = this.share[id];
      ends[2 * k] = u;
      ends[2 * k + 1] = v;
      share[k] = t;
      at[2 * k] = this.place(u, this.across) * (1 - t) + this.place(v, this.across) * t;
      at[2 * k + 1] = this.place(u, this.up) * (1 - t) + this.place(v, this.up) * t;
    });
    return { at, ends, share, closed };
  }

  // One coordinate of a placed vertex.
  place(vertex, axis) {
    const { points, lift } = this.body, { grow, turn, shift } = this.map;
    const at = 3 * vertex, row = 3 * axis;
    let value = shift[axis];
    for (let k = 0; k < 3; k++) {
      value += grow[row + k] * points[at + k];
      if (lift) value += turn[row + k] * lift[at + k];
    }
    return value;
  }
}
