import { mount } from 'svelte';
import App from './App.svelte';
import './ui/base.css';
import { show } from './ui/light.svelte.ts';

show();
const target = document.getElementById('page');
if (!target) throw new Error('The page has no place to be drawn in.');
mount(App, { target });
