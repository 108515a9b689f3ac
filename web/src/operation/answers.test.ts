import { expect, it } from 'vitest';
import { pauseAsked_ms, whatItMeans } from './answers.ts';

const own = (status: number, kind: string) => ({ type: `urn:laywire:problem:${kind}`, title: 'So.', status });

it('an answer means to wait, to join again, or that the batch is at fault: only the service itself says the last', () => {
  expect(whatItMeans(422, own(422, 'malformed'), null)).toMatchObject({
    why: 'unreadable',
    reason: { title: 'So.' },
  });
  expect(whatItMeans(413, own(413, 'too-large'), null).why).toBe('unreadable');
  expect(whatItMeans(401, own(401, 'no-pass'), null).why).toBe('unwelcome');
  expect(whatItMeans(404, own(404, 'not-found'), null).why).toBe('unwelcome');
  expect(whatItMeans(503, own(503, 'unavailable'), 5_000)).toEqual({
    delivered: false,
    why: 'busy',
    after_ms: 5_000,
  });
  expect(whatItMeans(429, own(429, 'too-many'), null).why).toBe('busy');
  // A page that a network puts in between, or a proxy without its service.
  for (const status of [200, 302, 400, 403, 404, 413, 422, 502, 511]) {
    expect(whatItMeans(status, undefined, null).why, String(status)).toBe('busy');
  }
});

it('how long to wait is said in seconds or as a date', () => {
  // RFC 9110, section 10.2.3.
  expect(pauseAsked_ms('120', 0)).toBe(120_000);
  expect(pauseAsked_ms('Fri, 31 Dec 1999 23:59:59 GMT', Date.parse('1999-12-31T23:59:00Z'))).toBe(59_000);
  expect(pauseAsked_ms('Fri, 31 Dec 1999 23:59:59 GMT', Date.parse('2026-01-01T00:00:00Z'))).toBe(0);
  for (const nothing of [null, '', 'soon']) expect(pauseAsked_ms(nothing, 0)).toBeNull();
});
