declare module 'virtual:map-worker' {
  /** where the map's worker is served, as maplibre.ts builds it */
  const url: string;
  export default url;
}
