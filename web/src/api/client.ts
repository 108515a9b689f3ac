/**
 * The way to the service: typed by its own description, speaking with one pass. Where a browser holds
 * several passes, a page says which it speaks with (its seat); the secret itself is never here.
 */
import createClient from 'openapi-fetch';
import type { paths } from './schema.ts';
import type { ProblemDocument } from './types.ts';

export type Client = ReturnType<typeof createClient<paths>>;

/** A client that speaks with the pass of this seat, or with the only one that the browser holds. */
export function clientFor(seat: string | null): Client {
  return createClient<paths>({
    baseUrl: location.origin,
    ...(seat ? { headers: { 'Laywire-Seat': seat } } : {}),
  });
}

type Said = Pick<ProblemDocument, 'title' | 'status' | 'type' | 'field'>;

/** What the service could not do, in its own words (RFC 9457). */
export class Problem extends Error {
  override readonly name = 'Problem';
  readonly document: Said;
  constructor(document: Said) {
    super(document.title);
    this.document = document;
  }
}

/** No answer at all: no network, or the service is down. */
export class Unreachable extends Error {
  override readonly name = 'Unreachable';
  constructor(cause: unknown) {
    super('The service cannot be reached just now.', { cause });
  }
}

/** What went wrong, for the person: the service's own words, or what no answer means to them here. */
export const inWords = (reason: unknown, unanswered: string): string =>
  reason instanceof Problem ? reason.document.title : unanswered;

interface Answered<T> {
  data?: T | undefined;
  error?: unknown;
  response: Response;
}

/** The answer's contents, or the problem that it is. */
export async function answered<T>(call: Promise<Answered<T>>): Promise<T> {
  let answer: Answered<T>;
  try {
    answer = await call;
  } catch (cause) {
    throw new Unreachable(cause);
  }
  if (answer.response.ok) return answer.data as T;
  const said = answer.error as Partial<ProblemDocument> | undefined;
  throw new Problem({
    title: said?.title ?? `The service answered ${answer.response.status}.`,
    status: answer.response.status,
    type: said?.type ?? 'about:blank',
    field: said?.field ?? null,
  });
}
