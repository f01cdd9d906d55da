"""What a page must never show: text cut off, text on text, a page wider than its window."""

from __future__ import annotations

FAULTS = """
() => {
  const faults = [], boxes = [];
  const skip = '[data-testid=stDataFrame], canvas, svg, [data-testid=stSliderThumbValue], [data-baseweb=popover]';
  for (const root of document.querySelectorAll('[data-testid=stMain], [data-testid=stSidebar]')) {
    const style = getComputedStyle(root);
    if (style.display === 'none' || root.getBoundingClientRect().right <= 1) continue;
    const walk = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
      const text = walk.currentNode.textContent.trim(), host = walk.currentNode.parentElement;
      if (!text || host.closest(skip) || !host.checkVisibility({opacityProperty: true, visibilityProperty: true}))
        continue;
      if (['STYLE', 'SCRIPT', 'OPTION'].includes(host.tagName)) continue;
      const range = document.createRange(); range.selectNodeContents(walk.currentNode);
      const whole = range.getBoundingClientRect();
      if (whole.width < 2 || whole.height < 2) continue;
      let folded = false;
      for (let e = host; e && e !== root; e = e.parentElement) {
        const s = getComputedStyle(e), b = e.getBoundingClientRect();
        if (s.clipPath !== 'none' || b.width < 2 || b.height < 2) { folded = true; break; }
        const cuts = ['hidden', 'clip'].includes(s.overflowX);
        if (cuts && e.scrollWidth > e.clientWidth + 1 && whole.right > b.right + 1)
          faults.push('cut off: ' + text.slice(0, 60));
        if (['auto', 'scroll'].includes(s.overflowX) && e.scrollWidth > e.clientWidth + 1) { folded = true; break; }
        if (['hidden', 'clip'].includes(s.overflowY) && whole.top > b.bottom - 1) { folded = true; break; }
      }
      if (folded) continue;
      for (const b of range.getClientRects())
        if (b.width > 2 && b.height > 2) boxes.push([b, text.slice(0, 50), host]);
    }
  }
  for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
    const [a, s, p] = boxes[i], [b, t, q] = boxes[j];
    if (p === q) continue;
    const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
    const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
    if (wide > 3 && high > 4) faults.push('on top of each other: ' + s + ' / ' + t);
  }
  const main = document.querySelector('[data-testid=stMain]');
  if (main.scrollWidth > main.clientWidth + 1) faults.push('page wider than its window: ' + main.scrollWidth);
  return [...new Set(faults)];
}
"""
"""Script that lists the faults of the page in view; charts and data grids draw on a canvas and are left out."""
