/** The widest and the closest view that the service has tiles for; the map enlarges these further. */
export const FIRST_ZOOM = 5;
export const LAST_ZOOM = 15;
