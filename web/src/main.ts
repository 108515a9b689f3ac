import { mount } from 'svelte';
import App from './App.svelte';
import { version } from './offline/version.svelte.ts';
import './ui/base.css';
import { show } from './ui/light.svelte.ts';

show();
const target = document.getElementById('page');
if (!target) throw new Error('The page has no place to be drawn in.');
mount(App, { target });

// After the page's own files, so that it is there before its copies are. Where it can't be kept, it works with a network.
if (import.meta.env.PROD) window.addEventListener('load', () => void version.start().catch(() => undefined));
