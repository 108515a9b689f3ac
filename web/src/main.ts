import { Map, setWorkerUrl } from 'maplibre-gl';
import u from 'virtual:map-worker';
setWorkerUrl(u);
new Map({ container: 'page', style: { version: 8, sources: {p:{type:'geojson',data:{type:'Point',coordinates:[0,0]}}}, layers: [{id:'p',type:'circle',source:'p'}] } }).on('load', () => { document.title = 'loaded'; });
