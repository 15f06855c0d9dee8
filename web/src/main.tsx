// Puts the panel on the page.
import { render } from 'preact';
import { Panel } from './parts/Panel.js';
import { start } from './store.js';

const place = document.getElementById('panel');
if (place === null) throw new Error('The page has no place for the panel.');
start();
render(<Panel />, place);
