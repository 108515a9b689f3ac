/** Every part of the browser side on one page, to be looked at while it is made. The build leaves it out. */
import { mount } from 'svelte';
import '../src/ui/base.css';
import { show } from '../src/ui/light.svelte.ts';
import Parts from './Parts.svelte';

show();
const target = document.getElementById('page');
if (target) mount(Parts, { target });
