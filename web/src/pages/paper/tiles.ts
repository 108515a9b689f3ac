/**
 * Gets the ground of a map's sheets from the service, or from the device where it keeps it: each tile once, whole or
 * not at all, for a sheet with a hole in it would show land without a road.
 */
import { answered, type Client } from '../../api/client.ts';
import { nameOf, readTile, tilesUnder, type GroundTile } from './ground.ts';
import type { Frame } from './layout.ts';

/** How many are fetched at once. */
const AT_ONCE = 6;

/** The ground of a map, by its sheets; or why there is none. */
export type Ground = readonly (readonly GroundTile[])[] | 'none loaded' | 'coming' | 'unanswered';

export class GroundTiles {
  readonly #client: Client;
  readonly #operation: string;
  /** of one terrain and one zone: of another, they are forgotten */
  #known = new Map<string, GroundTile>();
  #of = '';

  constructor(client: Client, operation: string) {
    this.#client = client;
    this.#operation = operation;
  }

  /** `terrain` names the map that the service has loaded now. Throws where it could not be fetched whole. */
  async under(
    frames: readonly Frame[],
    zone: number,
    south: boolean,
    terrain: string,
    signal: AbortSignal,
  ): Promise<GroundTile[][]> {
    const of = `${terrain} ${zone} ${south}`;
    if (of !== this.#of) this.#known = new Map();
    this.#of = of;
    const known = this.#known;
    const sheets = tilesUnder(frames, zone, south);
    const missing = new Map(sheets.flat().map((tile) => [nameOf(tile), tile]));
    for (const name of known.keys()) missing.delete(name);
    const next = missing.entries();
    const fetchNext = async () => {
      for (const [name, tile] of next) {
        const params = { path: { op: this.#operation, ...tile } };
        const bytes: unknown = await answered(
          this.#client.GET('/api/operations/{op}/tiles/{z}/{x}/{y}', {
            params,
            parseAs: 'arrayBuffer',
            signal,
          }),
        );
        // Without a byte there is nothing in it.
        const read = bytes instanceof ArrayBuffer ? new Uint8Array(bytes) : new Uint8Array();
        known.set(name, readTile(read, tile, zone, south));
      }
    };
    await Promise.all(Array.from({ length: AT_ONCE }, fetchNext));
    return sheets.map((tiles) => tiles.flatMap((tile) => known.get(nameOf(tile)) ?? []));
  }
}
