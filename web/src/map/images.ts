/**
 * The small pictures on the map: tags, from the very marks that the strip draws, and what the paper
 * of a map carries. Each has a name that says all it shows, and is drawn when the map first asks for
 * that name. Colours come from the tokens of the light in the name.
 */
import {
  constructions,
  states,
  tagBox,
  tagMarks,
  type Mark,
  type Paint,
  type TagLook,
} from '../strip/tag.ts';
import { lights, tokens, type Light } from '../ui/tokens.ts';

/** Drawn finer than they are shown, so that they stay sharp on a phone. */
export const fineness = 3;

const prints = ['wood', 'power', 'drop'] as const;
type Print = (typeof prints)[number];

export type Picture = { light: Light } & ({ print: Print } | { tag: TagLook });

export const printName = (light: Light, print: Print): string => `${light}/${print}`;

/** The part of a tag's name that does not depend on the light; the map puts the light before it. */
export function tagName({ state, construction, inTraffic, team }: TagLook): string {
  const mark = state === 'in_hand' ? encodeURIComponent(team ?? '') : '';
  return ['tag', state, construction ?? '', inTraffic ? 'traffic' : '', mark].join('/');
}

/** What a name asks for; null when it is none of ours. */
export function pictureNamed(name: string): Picture | null {
  const [lightName, kind, stateName, constructionName, traffic, mark] = name.split('/');
  const light = lights.find((one) => one === lightName);
  if (!light) return null;
  const print = prints.find((one) => one === kind);
  if (print) return { light, print };
  const state = states.find((one) => one === stateName);
  if (kind !== 'tag' || !state) return null;
  return {
    light,
    tag: {
      state,
      construction: constructions.find((one) => one === constructionName) ?? null,
      inTraffic: traffic === 'traffic',
      team: mark ? decodeURIComponent(mark) : null,
    },
  };
}

interface Drawing {
  box: { left: number; top: number; width: number; height: number };
  draw: (context: CanvasRenderingContext2D) => void;
}

function drawing(picture: Picture): Drawing {
  const colours = tokens[picture.light];
  if ('tag' in picture) {
    const marks = tagMarks(picture.tag);
    return {
      box: tagBox,
      draw: (context) => marks.forEach((mark) => drawMark(context, mark, picture.light)),
    };
  }
  const strokes = (d: string, colour: string, width: number) => (context: CanvasRenderingContext2D) => {
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.stroke(new Path2D(d));
  };
  switch (picture.print) {
    case 'wood':
      return {
        box: { left: 0, top: 0, width: 40, height: 40 },
        draw: strokes(
          'M7 13a4 4 0 1 1 6 0M10 11v6M27 33a4 4 0 1 1 6 0M30 31v6M27 8l2 -3l2 3M7 30l2 -3l2 3',
          colours.woodMark,
          1,
        ),
      };
    case 'power':
      // A mast seen from the side: an upright and two arms.
      return {
        box: { left: -8, top: -8, width: 16, height: 16 },
        draw: strokes('M0 -7V7M-6 -3H6M-4 2H4', colours.power, 1.8),
      };
    case 'drop':
      return {
        box: { left: -20, top: -44, width: 40, height: 48 },
        draw: (context) => {
          const arrow = new Path2D('M0 0L-13 -22H-6V-42H6V-22H13Z');
          context.lineWidth = 4;
          context.lineJoin = 'round';
          context.strokeStyle = colours.paper;
          context.stroke(arrow);
          context.fillStyle = colours.mine;
          context.fill(arrow);
        },
      };
  }
}

function drawMark(context: CanvasRenderingContext2D, mark: Mark, light: Light): void {
  const colour = (paint: Paint) => (paint === 'none' ? 'transparent' : tokens[light][paint]);
  if (mark.shape === 'text') {
    context.font = `750 ${mark.size}px system-ui, sans-serif`;
    context.textAlign = 'center';
    context.fillStyle = colour(mark.fill);
    context.fillText(mark.text, mark.x, mark.y);
    return;
  }
  const path = new Path2D(mark.d);
  context.fillStyle = colour(mark.fill);
  context.fill(path);
  if (mark.width === 0) return;
  context.setLineDash([...(mark.dash ?? [])]);
  context.lineWidth = mark.width;
  context.strokeStyle = colour(mark.stroke);
  context.stroke(path);
}

/** The picture's pixels, or null where the browser gives no canvas. */
export function paintPicture(picture: Picture): ImageData | null {
  const { box, draw } = drawing(picture);
  const canvas = document.createElement('canvas');
  canvas.width = box.width * fineness;
  canvas.height = box.height * fineness;
  const context = canvas.getContext('2d');
  if (!context) return null;
  context.scale(fineness, fineness);
  context.translate(-box.left, -box.top);
  draw(context);
  return context.getImageData(0, 0, canvas.width, canvas.height);
}
