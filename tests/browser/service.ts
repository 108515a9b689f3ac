/**
 * The built binary on a database of its own, for one test file: started, spoken with and stopped here.
 * Nothing waits by the clock; every wait is for a condition and has a bound.
 */
import { execFileSync, spawn, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { randomUUID } from 'node:crypto';
import { createInterface } from 'node:readline';
import { resolve } from 'node:path';

const clone = resolve(import.meta.dirname, '../..');
const binary = resolve(process.env['CARGO_TARGET_DIR'] ?? resolve(clone, 'target'), 'debug/laywire');
const maintenance = process.env['LAYWIRE_TEST_DATABASE_URL'];

export type Party = 'command_post' | 'lead_team' | 'follow_up_team' | 'observer';
export type Place = [lon: number, lat: number];

export interface Receipt {
  id: string;
  outcome: 'recorded' | 'already recorded' | 'refused';
  sequence: number | null;
  reason: { title: string } | null;
}

/** A database made for one test file. */
export class Database {
  readonly url: string;
  readonly #name = `browser_${randomUUID().replaceAll('-', '')}`;

  constructor() {
    if (!maintenance) {
      throw new Error(
        'LAYWIRE_TEST_DATABASE_URL is not set: run tests/run, or tests/cluster with a command of yours',
      );
    }
    const url = new URL(maintenance);
    url.pathname = `/${this.#name}`;
    this.url = url.href;
    this.#ask(`create database ${this.#name} template template1`);
  }

  drop(): void {
    this.#ask(`drop database ${this.#name} with (force)`);
  }

  #ask(sql: string): void {
    execFileSync('psql', ['--no-psqlrc', '--quiet', '--set', 'ON_ERROR_STOP=1', '--command', sql, maintenance!]);
  }
}

/** One process of the service. */
export class Service {
  address = '';
  /** What it said before it served. */
  said: string[] = [];
  #process: ChildProcess | null = null;
  readonly #database: Database;
  readonly #web: string;
  readonly #more: readonly string[];

  constructor(database: Database, { web = resolve(clone, 'web/dist'), more = [] as readonly string[] } = {}) {
    this.#database = database;
    this.#web = web;
    this.#more = more;
  }

  /** Starts it; on the same port again when it was stopped before. */
  async start(): Promise<void> {
    const port = this.address ? new URL(this.address).port : '0';
    const args = ['serve', '--database-url', this.#database.url, '--listen', `127.0.0.1:${port}`, '--web', this.#web];
    args.push(...this.#more);
    const child = spawn(binary, args, {
      stdio: ['ignore', 'pipe', 'inherit'],
      env: { ...process.env, LAYWIRE_LOG: 'warn' },
    });
    this.#process = child;
    for await (const line of createInterface({ input: child.stdout })) {
      const said = /^laywire serves on (.*)$/.exec(line);
      if (!said) {
        this.said.push(line);
        continue;
      }
      this.address = said[1]!;
      return;
    }
    throw new Error(`${binary} ended before it served`);
  }

  async stop(signal: 'SIGTERM' | 'SIGKILL' = 'SIGTERM'): Promise<void> {
    const child = this.#process;
    if (!child || child.exitCode !== null || child.signalCode !== null) return;
    const ended = once(child, 'exit');
    child.kill(signal);
    await ended;
  }

  /** Runs one of the binary's commands on the same database. */
  command(...args: string[]): string {
    return execFileSync(binary, [...args, '--database-url', this.#database.url], { encoding: 'utf8' });
  }
}

/** An operation and its passes, spoken with over the API as any client would. */
export class Operation {
  readonly service: Service;
  readonly id: string;
  readonly commandPost: string;

  constructor(service: Service, name: string) {
    this.service = service;
    const said = service.command('operation', 'new', name);
    this.id = /operation ([0-9a-f-]{36})/.exec(said)![1]!;
    this.commandPost = /pass +([0-9A-Z-]+)/.exec(said)![1]!;
  }

  async call<T>(method: string, path: string, body?: unknown, pass = this.commandPost): Promise<T> {
    const response = await fetch(`${this.service.address}/api/operations/${this.id}${path}`, {
      method,
      headers: { authorization: `Bearer ${pass}`, 'content-type': 'application/json' },
      ...(body === undefined ? {} : { body: JSON.stringify(body) }),
    });
    if (!response.ok) throw new Error(`${method} ${path}: ${response.status} ${await response.text()}`);
    return (await response.json()) as T;
  }

  async pass(party: Party, team: string): Promise<string> {
    return (await this.call<{ secret: string }>('POST', '/passes', { party, team })).secret;
  }

  async line(designation: string, coordinates: Place[], from = 'Post', to = 'Exchange'): Promise<string> {
    const geometry = { type: 'LineString', coordinates };
    const feature = { type: 'Feature', geometry, properties: { designation, from, to } };
    return (await this.call<{ id: string }>('POST', '/lines', feature)).id;
  }

  /** Reports, and throws when one is not recorded. */
  async report(bodies: object[], pass = this.commandPost): Promise<Receipt[]> {
    const receipts = await this.receipts(bodies, pass);
    const refused = receipts.find((receipt) => receipt.outcome !== 'recorded');
    if (refused) throw new Error(JSON.stringify(refused));
    return receipts;
  }

  /** Reports, and says what became of each. */
  async receipts(bodies: object[], pass = this.commandPost): Promise<Receipt[]> {
    const at = new Date().toISOString();
    return this.call('POST', '/reports', bodies.map((body) => ({ id: randomUUID(), at, body })), pass);
  }

  /** The address at which a pass lets a browser in. */
  link(pass: string): string {
    return `${this.service.address}/join#${pass}`;
  }
}
