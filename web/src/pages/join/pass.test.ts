import { describe, expect, it } from 'vitest';
import { behindHash, passIn } from './pass.ts';

const pass = 'DN5K-EXJQ-YX4M-LKNC-URBK-MF2D-YY3U';
const here = 'https://post.example';

describe('a scanned code', () => {
  it('holds a pass by itself or behind the # of a link to this service', () => {
    expect(passIn(pass, here)).toEqual({ found: 'pass', pass });
    expect(passIn(`${here}/join#${pass}`, here)).toEqual({ found: 'pass', pass });
    expect(passIn(pass.toLowerCase().replaceAll('-', ''), here)).toMatchObject({ found: 'pass' });
  });

  it('is not sent to this service when it is for another one', () => {
    expect(passIn(`https://other.example:8080/join#${pass}`, here)).toEqual({
      found: 'elsewhere',
      host: 'other.example:8080',
    });
  });

  it.each([
    '',
    'WIFI:S:mill;;',
    `${here}/join`,
    `${here}/join#mill`,
    `${here}/elsewhere#${pass}`,
    'javascript:1',
  ])('holds no pass in %o', (text) => expect(passIn(text, here)).toEqual({ found: 'nothing' }));
});

describe('the part behind the #', () => {
  it('is a pass or nothing, and a broken escape is nothing', () => {
    expect(behindHash(`#${pass}`)).toBe(pass);
    expect(behindHash(`#${pass.replaceAll('-', '%20')}`)).toBe(pass.replaceAll('-', ' '));
    expect(behindHash('')).toBeNull();
    expect(behindHash('#%E0%A4%A')).toBeNull();
  });
});
