"""THE AIR, computed: channels, masks, noise, link, walls, plan.  Pure functions, no I/O."""
