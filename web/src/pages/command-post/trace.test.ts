import { describe, expect, it } from 'vitest';
import { addPlace, readTrace, withoutLast, writePlace } from './trace.ts';

const post = [-4.632, 54.0965] as const;
const ford = [-4.67, 54.116] as const;

describe('a trace that is written down', () => {
  it('has the places pressed on the map, each as a grid reference that names the same metre', () => {
    const text = addPlace(addPlace('', post), ford);
    const { places, unread } = readTrace(text, null);
    expect(unread).toBeNull();
    expect(places.map(writePlace)).toEqual([writePlace(post), writePlace(ford)]);
  });

  it('takes the last place back, and no more than that', () => {
    const one = addPlace('', post);
    expect(withoutLast(addPlace(one, ford))).toBe(one);
    expect(withoutLast(one)).toBe('');
    expect(withoutLast('')).toBe('');
  });

  it('reads figures alone in the square of the place before them', () => {
    const [, , ...figures] = writePlace(ford).split(' ');
    expect(readTrace(`${writePlace(post)}\n${figures.join(' ')}`, null).places.map(writePlace)).toEqual([
      writePlace(post),
      writePlace(ford),
    ]);
  });

  it('names the line that can not be read, and guesses nothing', () => {
    expect(readTrace(`${writePlace(post)}\nthe mill\n${writePlace(ford)}`, null)).toMatchObject({
      unread: 'the mill',
    });
  });

  it('writes degrees where there is no grid reference', () => {
    expect(writePlace([10, 86])).toBe('86.000000, 10.000000');
    expect(readTrace(writePlace([10, 86]), null).places).toEqual([[10, 86]]);
  });
});
