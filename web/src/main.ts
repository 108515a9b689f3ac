import './ui/base.css';
import { show } from './ui/light.svelte.ts';

show();
