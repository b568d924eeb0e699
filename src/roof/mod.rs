//! Slots that modules fit in, obstacles, and the shade on each slot.
