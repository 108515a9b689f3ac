/**
 * What is drawn on the map and in which order, like the paper that a wire section draws on: roads by
 * class, railways with their ticks, water, woods, power lines with masts, a coast with water-lines,
 * and over it the traces and the tags. The one list of layers; a name that is not in it is an error.
 */
import type { LayerSpecification, ExpressionSpecification } from 'maplibre-gl';
import { tokens, type Light } from '../ui/tokens.ts';
import { printName } from './images.ts';

/** From the ground up. */
export const layerOrder = [
  'paper',
  'wood',
  'wood_marks',
  'water',
  'water_edge',
  'coast_line_3',
  'coast_line_2',
  'coast_line_1',
  'coast',
  'stream',
  'stream_tunnel',
  'path',
  'dirt_road',
  'bridge',
  'road_edge',
  'main_highway_edge',
  'road',
  'main_highway',
  'culvert',
  'railway',
  'railway_ticks',
  'power_line',
  'power_masts',
  'own_area',
  'own_line',
  'own_point',
  'water_name',
  'road_name',
  'place_name',
  'own_name',
  'stretch',
  'trace_planned_ground',
  'trace_planned',
  'trace_laid_ground',
  'trace_laid',
  'trace_planned_name',
  'trace_laid_name',
  'here_about',
  'crossing_chosen',
  'crossing',
  'crew',
  'crew_name',
  'here',
  'drop',
] as const;
export type LayerId = (typeof layerOrder)[number];

export const sourceIds = [
  'terrain',
  'stretch',
  'planned',
  'laid',
  'crossings',
  'crews',
  'here',
  'drop',
] as const;
export type SourceId = (typeof sourceIds)[number];

/** Puts layers in the map's order; throws on one that has no place in it, and on one left out. */
export function inOrder(layers: readonly LayerSpecification[]): LayerSpecification[] {
  const byId = new Map(layers.map((layer) => [layer.id, layer]));
  for (const { id } of layers) {
    if (!layerOrder.some((known) => known === id)) throw new Error(`No place on the map for a layer '${id}'`);
  }
  return layerOrder.map((id) => {
    const layer = byId.get(id);
    if (!layer) throw new Error(`The map has a place for a layer '${id}', but nothing draws it`);
    return layer;
  });
}

const kind = (...kinds: string[]): ExpressionSpecification => ['in', ['get', 'kind'], ['literal', kinds]];
const structure = (...structures: string[]): ExpressionSpecification => [
  'in',
  ['get', 'structure'],
  ['literal', structures],
];
const all = (...conditions: ExpressionSpecification[]): ExpressionSpecification => ['all', ...conditions];
const not = (condition: ExpressionSpecification): ExpressionSpecification => ['!', condition];

/** A width that doubles about every two zoom levels, as printed roads seem to when one bends closer. */
const width = (...stops: [zoom: number, pixels: number][]): ExpressionSpecification => [
  'interpolate',
  ['exponential', 1.5],
  ['zoom'],
  ...stops.flat(),
];

const line = { source: 'terrain', 'source-layer': 'line', type: 'line' } as const;
const area = { source: 'terrain', 'source-layer': 'area' } as const;
const own = { source: 'terrain', 'source-layer': 'own' } as const;
const round = { 'line-cap': 'round', 'line-join': 'round' } as const;
const name = ['coalesce', ['get', 'name'], ''] as ExpressionSpecification;
const named: ExpressionSpecification = ['has', 'name'];
const shape = (...types: string[]): ExpressionSpecification => ['in', ['geometry-type'], ['literal', types]];
/** What the unit has seen, in words: the kind, and the name where it has one. */
const ownWords: ExpressionSpecification = [
  'concat',
  [
    'match',
    ['get', 'kind'],
    'main_highway',
    'main highway',
    'dirt_road',
    'dirt road',
    'power_line',
    'power line',
    'closed_way',
    'closed way',
    'soft_ground',
    'soft ground',
    ['get', 'kind'],
  ],
  ['case', named, ['concat', ' ', name], ''],
];

/** Every layer, in the colours of a light. */
export function layers(light: Light): LayerSpecification[] {
  const colour = tokens[light];
  const road = kind('road');
  const highway = kind('main_highway');
  const tunnel = structure('tunnel');
  const traceName = {
    type: 'symbol' as const,
    filter: ['!=', name, ''] as ExpressionSpecification,
    layout: {
      'symbol-placement': 'line' as const,
      'symbol-spacing': 420,
      'text-field': name,
      'text-font': ['sans-serif'],
      'text-size': 15,
      'text-offset': [0, -0.9] as [number, number],
      'text-padding': 4,
    },
    paint: { 'text-color': colour.ink, 'text-halo-color': colour.paper, 'text-halo-width': 2.5 },
  };
  const waterLine = (
    id: 'coast_line_1' | 'coast_line_2' | 'coast_line_3',
    minzoom: number,
    offset: number,
  ): LayerSpecification => ({
    ...line,
    id,
    minzoom,
    filter: kind('coast'),
    layout: { 'line-join': 'round' },
    paint: {
      'line-color': colour.waterLine,
      'line-width': 0.8,
      // Land lies to the left of a coast, so the sea's side is the right one: a positive offset.
      'line-offset': width([8, offset / 2], [14, offset * 1.6]),
      'line-opacity': 1 - offset / 20,
    },
  });

  return inOrder([
    {
      ...own,
      id: 'own_area',
      type: 'fill',
      filter: shape('Polygon', 'MultiPolygon'),
      paint: { 'fill-color': colour.ink, 'fill-opacity': 0.1 },
    },
    {
      ...own,
      id: 'own_line',
      type: 'line',
      filter: shape('LineString', 'MultiLineString', 'Polygon', 'MultiPolygon'),
      layout: { 'line-join': 'round' },
      paint: { 'line-color': colour.ink, 'line-width': 2, 'line-dasharray': [4, 2, 1, 2] },
    },
    {
      ...own,
      id: 'own_point',
      type: 'circle',
      filter: shape('Point', 'MultiPoint'),
      paint: {
        'circle-radius': 5,
        'circle-color': colour.paper,
        'circle-stroke-color': colour.ink,
        'circle-stroke-width': 2.5,
      },
    },
    {
      ...own,
      id: 'own_name',
      type: 'symbol',
      minzoom: 12,
      layout: {
        'text-field': ownWords,
        'text-font': ['sans-serif'],
        'text-size': 14,
        'text-offset': [0, 1.1],
        'text-anchor': 'top',
      },
      paint: { 'text-color': colour.ink, 'text-halo-color': colour.paper, 'text-halo-width': 2.5 },
    },
    { id: 'paper', type: 'background', paint: { 'background-color': colour.paper } },
    { ...area, id: 'wood', type: 'fill', filter: kind('wood'), paint: { 'fill-color': colour.wood } },
    {
      ...area,
      id: 'wood_marks',
      type: 'fill',
      minzoom: 12,
      filter: kind('wood'),
      paint: { 'fill-pattern': printName(light, 'wood') },
    },
    { ...area, id: 'water', type: 'fill', filter: kind('water'), paint: { 'fill-color': colour.water } },
    {
      ...area,
      id: 'water_edge',
      type: 'line',
      minzoom: 11,
      filter: kind('water'),
      paint: { 'line-color': colour.waterLine, 'line-width': 1 },
    },
    waterLine('coast_line_3', 13, 11),
    waterLine('coast_line_2', 12, 7),
    waterLine('coast_line_1', 10, 3.5),
    {
      ...line,
      id: 'coast',
      filter: kind('coast'),
      layout: round,
      paint: { 'line-color': colour.waterLine, 'line-width': width([5, 1], [14, 2]) },
    },
    {
      ...line,
      id: 'stream',
      filter: all(kind('stream'), not(structure('tunnel', 'culvert'))),
      layout: round,
      paint: { 'line-color': colour.waterLine, 'line-width': width([9, 0.7], [13, 1.5], [17, 4]) },
    },
    {
      ...line,
      id: 'stream_tunnel',
      minzoom: 12,
      filter: all(kind('stream'), structure('tunnel', 'culvert')),
      paint: {
        'line-color': colour.waterLine,
        'line-width': width([12, 1], [17, 3]),
        'line-dasharray': [2, 1.5],
      },
    },
    {
      ...line,
      id: 'path',
      minzoom: 12,
      filter: kind('path'),
      layout: { 'line-cap': 'round' },
      paint: {
        'line-color': colour.track,
        'line-width': width([12, 0.8], [17, 2]),
        'line-dasharray': [0.1, 2.4],
      },
    },
    {
      ...line,
      id: 'dirt_road',
      minzoom: 11,
      filter: kind('dirt_road'),
      paint: {
        'line-color': colour.track,
        'line-width': width([11, 0.8], [14, 1.6], [17, 3.5]),
        'line-dasharray': [4, 1.6],
      },
    },
    {
      ...line,
      id: 'bridge',
      minzoom: 13,
      filter: all(kind('main_highway', 'road', 'dirt_road', 'railway', 'path'), structure('bridge')),
      paint: {
        'line-color': colour.rail,
        'line-gap-width': width([13, 5], [17, 22]),
        'line-width': width([13, 1.2], [17, 3]),
      },
    },
    {
      ...line,
      id: 'road_edge',
      filter: all(road, not(tunnel)),
      minzoom: 9,
      layout: round,
      paint: {
        'line-color': colour.road,
        'line-width': width([9, 0.5], [12, 1.2], [13, 2.2], [14, 5], [17, 15]),
      },
    },
    {
      ...line,
      id: 'main_highway_edge',
      filter: all(highway, not(tunnel)),
      layout: round,
      paint: { 'line-color': colour.road, 'line-width': width([6, 1], [10, 3], [14, 9], [17, 22]) },
    },
    {
      ...line,
      id: 'road',
      minzoom: 13,
      filter: all(road, not(tunnel)),
      layout: round,
      paint: { 'line-color': colour.roadFill, 'line-width': width([13, 0.8], [14, 3], [17, 12]) },
    },
    {
      ...line,
      id: 'main_highway',
      minzoom: 9,
      filter: all(highway, not(tunnel)),
      layout: round,
      paint: { 'line-color': colour.highwayFill, 'line-width': width([9, 1.2], [14, 6.4], [17, 18]) },
    },
    {
      ...line,
      id: 'culvert',
      minzoom: 14,
      filter: all(kind('stream'), structure('culvert')),
      paint: {
        'line-color': colour.rail,
        'line-gap-width': width([14, 3], [17, 7]),
        'line-width': width([14, 1], [17, 2]),
      },
    },
    {
      ...line,
      id: 'railway',
      minzoom: 8,
      filter: all(kind('railway'), not(tunnel)),
      paint: { 'line-color': colour.rail, 'line-width': width([8, 0.8], [14, 2], [17, 3]) },
    },
    {
      ...line,
      id: 'railway_ticks',
      minzoom: 10,
      filter: all(kind('railway'), not(tunnel)),
      paint: {
        'line-color': colour.rail,
        'line-width': width([10, 4], [14, 8], [17, 14]),
        'line-dasharray': [0.2, 1],
      },
    },
    {
      ...line,
      id: 'power_line',
      minzoom: 11,
      filter: kind('power_line'),
      paint: {
        'line-color': colour.power,
        'line-width': width([11, 0.9], [16, 1.8]),
        'line-dasharray': [10, 3],
      },
    },
    {
      id: 'power_masts',
      type: 'symbol',
      source: 'terrain',
      'source-layer': 'line',
      minzoom: 12,
      filter: kind('power_line'),
      layout: {
        'symbol-placement': 'line',
        'symbol-spacing': 90,
        'icon-image': printName(light, 'power'),
        'icon-rotation-alignment': 'viewport',
        'icon-allow-overlap': true,
        'icon-ignore-placement': true,
      },
    },
    {
      id: 'water_name',
      type: 'symbol',
      source: 'terrain',
      'source-layer': 'line',
      minzoom: 13,
      filter: all(kind('stream'), named),
      layout: {
        'symbol-placement': 'line',
        'symbol-spacing': 400,
        'text-field': name,
        'text-font': ['Georgia Italic', 'Georgia', 'serif'],
        'text-size': 13,
        'text-letter-spacing': 0.06,
        'text-offset': [0, -0.8],
      },
      paint: { 'text-color': colour.waterText, 'text-halo-color': colour.paper, 'text-halo-width': 1.6 },
    },
    {
      id: 'road_name',
      type: 'symbol',
      source: 'terrain',
      'source-layer': 'line',
      minzoom: 14,
      filter: all(kind('main_highway', 'road', 'dirt_road'), named),
      layout: {
        'symbol-placement': 'line',
        'symbol-spacing': 360,
        'text-field': name,
        'text-font': ['sans-serif'],
        'text-size': width([14, 11.5], [17, 14]),
      },
      paint: { 'text-color': colour.placeText, 'text-halo-color': colour.paper, 'text-halo-width': 2 },
    },
    {
      id: 'place_name',
      type: 'symbol',
      source: 'terrain',
      'source-layer': 'place',
      filter: named,
      layout: {
        'text-field': name,
        'text-font': ['Georgia Bold', 'Georgia', 'serif'],
        'text-size': [
          'interpolate',
          ['linear'],
          ['zoom'],
          7,
          ['match', ['get', 'kind'], ['city', 'town'], 14, 11],
          15,
          ['match', ['get', 'kind'], ['city', 'town'], 24, 16],
        ],
        'text-max-width': 7,
        'text-padding': 6,
        'symbol-sort-key': ['coalesce', ['get', 'rank'], 99],
      },
      paint: { 'text-color': colour.placeText, 'text-halo-color': colour.paper, 'text-halo-width': 2 },
    },
    {
      // Wider than the paper that the traces lie on, so that its two edges show beside them.
      id: 'stretch',
      type: 'line',
      source: 'stretch',
      layout: round,
      paint: { 'line-color': colour.hazard, 'line-width': 16 },
    },
    {
      id: 'trace_planned_ground',
      type: 'line',
      source: 'planned',
      layout: round,
      paint: { 'line-color': colour.paper, 'line-width': 7, 'line-opacity': 0.75 },
    },
    {
      id: 'trace_planned',
      type: 'line',
      source: 'planned',
      layout: round,
      paint: { 'line-color': colour.ink, 'line-width': 3.5, 'line-dasharray': [0.1, 2.2] },
    },
    {
      id: 'trace_laid_ground',
      type: 'line',
      source: 'laid',
      layout: round,
      paint: { 'line-color': colour.paper, 'line-width': 9, 'line-opacity': 0.85 },
    },
    {
      id: 'trace_laid',
      type: 'line',
      source: 'laid',
      layout: round,
      paint: { 'line-color': colour.ink, 'line-width': 4.5 },
    },
    { ...traceName, id: 'trace_planned_name', source: 'planned' },
    { ...traceName, id: 'trace_laid_name', source: 'laid' },
    {
      id: 'here_about',
      type: 'circle',
      source: 'here',
      paint: {
        'circle-color': colour.mine,
        'circle-opacity': 0.12,
        'circle-stroke-color': colour.mine,
        'circle-stroke-width': 1,
        // 'pixels' is the accuracy's radius at zoom 0; each level doubles it.
        'circle-radius': [
          'interpolate',
          ['exponential', 2],
          ['zoom'],
          0,
          ['get', 'pixels'],
          20,
          ['*', ['get', 'pixels'], 2 ** 20],
        ],
        'circle-pitch-alignment': 'map',
      },
    },
    {
      id: 'crossing_chosen',
      type: 'circle',
      source: 'crossings',
      paint: {
        'circle-radius': 34,
        'circle-translate': [0, 28],
        'circle-color': colour.paper,
        'circle-opacity': ['case', ['boolean', ['feature-state', 'chosen'], false], 0.35, 0],
        'circle-stroke-color': colour.mine,
        'circle-stroke-width': 4,
        'circle-stroke-opacity': ['case', ['boolean', ['feature-state', 'chosen'], false], 1, 0],
      },
    },
    {
      id: 'crossing',
      type: 'symbol',
      source: 'crossings',
      layout: {
        'icon-image': ['concat', `${light}/`, ['get', 'picture']],
        'icon-anchor': 'top',
        'icon-size': ['interpolate', ['linear'], ['zoom'], 9, 0.5, 13, 0.9, 16, 1],
        'icon-allow-overlap': true,
        'icon-ignore-placement': true,
        'symbol-sort-key': ['get', 'urgency'],
      },
    },
    // Hollow, where I am is full; and it has its name, so that it is known without the colour.
    {
      id: 'crew',
      type: 'circle',
      source: 'crews',
      paint: {
        'circle-color': colour.paper,
        'circle-radius': 7,
        'circle-stroke-color': colour.mine,
        'circle-stroke-width': 4,
      },
    },
    {
      id: 'crew_name',
      type: 'symbol',
      source: 'crews',
      layout: {
        'text-field': ['get', 'label'],
        'text-font': ['sans-serif'],
        'text-size': 14,
        'text-anchor': 'left',
        'text-offset': [1, 0],
        'text-allow-overlap': true,
      },
      paint: { 'text-color': colour.mine, 'text-halo-color': colour.paper, 'text-halo-width': 2.5 },
    },
    {
      id: 'here',
      type: 'circle',
      source: 'here',
      paint: {
        'circle-radius': 9,
        'circle-color': colour.mine,
        'circle-stroke-color': colour.paper,
        'circle-stroke-width': 4,
      },
    },
    {
      id: 'drop',
      type: 'symbol',
      source: 'drop',
      layout: {
        'icon-image': printName(light, 'drop'),
        'icon-anchor': 'bottom',
        'icon-offset': [0, 4],
        'icon-allow-overlap': true,
        'icon-ignore-placement': true,
      },
    },
  ]);
}
