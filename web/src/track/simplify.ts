/**
 * Which points of a path are needed so that none of the others lies farther than a tolerance from it: the
 * method of Douglas and Peucker (The Canadian Cartographer 10, 1973, from memory). It knows metres in a plane
 * and nothing of the ground.
 */
export type Point = readonly [east_m: number, north_m: number];

/** The numbers of the points that are kept, first and last among them, in order. */
export function simplify(path: readonly Point[], tolerance_m: number): number[] {
  const kept = new Set(path.length === 0 ? [] : [0, path.length - 1]);
  // A list of stretches still to look at, and no recursion: a day's track must not overflow the stack.
  const stretches: [number, number][] = [[0, path.length - 1]];
  for (let stretch = stretches.pop(); stretch; stretch = stretches.pop()) {
    const [from, to] = stretch;
    const [first, last] = [path[from], path[to]];
    if (!first || !last) continue;
    let farthest = -1;
    let away_m = tolerance_m;
    for (const [n, point] of path.slice(from + 1, to).entries()) {
      const aside = aside_m(point, first, last);
      if (aside > away_m) [farthest, away_m] = [from + 1 + n, aside];
    }
    if (farthest < 0) continue;
    kept.add(farthest);
    stretches.push([from, farthest], [farthest, to]);
  }
  return [...kept].sort((a, b) => a - b);
}

/** From a point to the nearest point of a leg. */
export function aside_m([x, y]: Point, [ax, ay]: Point, [bx, by]: Point): number {
  const [dx, dy] = [bx - ax, by - ay];
  const square = dx * dx + dy * dy;
  const share = square > 0 ? Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / square)) : 0;
  return Math.hypot(x - ax - share * dx, y - ay - share * dy);
}
