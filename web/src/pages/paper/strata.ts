/**
 * How the ground looks on a printed sheet: which class of the service's tiles is drawn as what, in which order, how
 * dark and how wide. Ground is grey and thin, so that the wire, drawn over it in full ink, stays the first thing that
 * is seen, and each class has a form of its own, so that a printer without colour loses nothing. Common practice of
 * printed maps, no source; nothing is imitated. It draws nothing.
 */

/** What may be drawn, in the order in which it is left out last where a sheet would hold too much. */
export const grounds = [
  'own',
  'main_highway',
  'railway',
  'power_line',
  'water',
  'stream',
  'culvert',
  'road',
  'bridge',
  'coast',
  'dirt_road',
  'wood',
  'path',
  'hedge',
] as const;
export type Ground = (typeof grounds)[number];

export const groundWords: Record<Ground, string> = {
  own: 'seen by us',
  main_highway: 'main highway',
  railway: 'railway',
  power_line: 'power line',
  water: 'water',
  stream: 'stream',
  culvert: 'culvert',
  road: 'road',
  bridge: 'bridge',
  coast: 'coast',
  dirt_road: 'dirt road',
  wood: 'wood',
  path: 'path',
  hedge: 'hedge',
};

/** One stroke or one filling. Of several of a class, those between them may be of other classes. */
export interface Stratum {
  of: Ground;
  /** how much of it is ink, in per cent; the rest is paper */
  ink: number;
  /** of the line; none where it is filled */
  width_mm?: number;
  dash_mm?: readonly number[];
  round?: boolean;
}

/** From the ground up. No ink over 65 %: at the darkest, ground is lighter than anything that is drawn over it. */
export const strata: readonly Stratum[] = [
  { of: 'wood', ink: 7 },
  { of: 'wood', ink: 60, width_mm: 0.2 },
  { of: 'water', ink: 16 },
  { of: 'water', ink: 50, width_mm: 0.18 },
  { of: 'coast', ink: 60, width_mm: 0.4 },
  { of: 'culvert', ink: 65, width_mm: 1.9 },
  { of: 'culvert', ink: 0, width_mm: 1.3 },
  { of: 'culvert', ink: 60, width_mm: 0.28, dash_mm: [0.8, 0.5] },
  { of: 'stream', ink: 60, width_mm: 0.28 },
  { of: 'hedge', ink: 55, width_mm: 0.35, dash_mm: [0, 0.9], round: true },
  { of: 'path', ink: 60, width_mm: 0.22, dash_mm: [0.7, 0.6] },
  { of: 'dirt_road', ink: 60, width_mm: 0.4, dash_mm: [2, 0.8] },
  { of: 'bridge', ink: 65, width_mm: 2.1 },
  { of: 'bridge', ink: 0, width_mm: 1.65 },
  { of: 'road', ink: 60, width_mm: 0.95, round: true },
  { of: 'main_highway', ink: 65, width_mm: 1.4, round: true },
  { of: 'road', ink: 0, width_mm: 0.6, round: true },
  { of: 'main_highway', ink: 28, width_mm: 0.95, round: true },
  { of: 'railway', ink: 65, width_mm: 0.3 },
  { of: 'railway', ink: 65, width_mm: 1.5, dash_mm: [0.25, 2] },
  { of: 'power_line', ink: 65, width_mm: 0.15 },
  { of: 'power_line', ink: 65, width_mm: 0.9, dash_mm: [0, 7], round: true },
  { of: 'own', ink: 65, width_mm: 0.5, dash_mm: [2.4, 0.7, 0.5, 0.7] },
];

/** By how much lines are narrower or wider than said at this scale, so that a street does not close on the next. */
export const widening = (scale: number): number =>
  scale <= 12_500 ? 1.25 : scale <= 25_000 ? 1 : scale <= 50_000 ? 0.75 : 0.5;

/** The mark of a wood, about a spot: a pattern of the browser's own would be printed as a coarse picture. */
export const woodMark = (x: number, y: number): string => `M${x - 0.6} ${y + 0.5}q0.6 -1.2 1.2 0`;

type Facts = Readonly<Record<string, unknown>>;

const lines = new Set<unknown>([
  'main_highway',
  'railway',
  'power_line',
  'stream',
  'road',
  'coast',
  'dirt_road',
  'path',
  'hedge',
]);
const ways = new Set<unknown>(['main_highway', 'railway', 'road', 'dirt_road', 'path']);

/** What a feature of the tiles is drawn as: nothing where the sheet has no form for it, two where a bridge bears a way. */
export function groundsOf(layer: string, { kind, structure }: Facts): Ground[] {
  if (layer === 'own') return ['own'];
  if (layer === 'area') return kind === 'water' || kind === 'wood' ? [kind] : [];
  if (layer !== 'line' || !lines.has(kind)) return [];
  const ground = kind as Ground;
  // What runs below the ground meets no wire.
  if (ways.has(kind))
    return structure === 'tunnel' ? [] : structure === 'bridge' ? ['bridge', ground] : [ground];
  return kind === 'stream' && (structure === 'culvert' || structure === 'tunnel') ? ['culvert'] : [ground];
}
