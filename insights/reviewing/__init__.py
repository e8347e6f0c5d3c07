"""How are we doing: comebacks reviewed fairly against what the mix of work would bring."""
