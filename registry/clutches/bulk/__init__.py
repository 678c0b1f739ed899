"""Files of many clutches: lines, tables and what keepers write in their cells. No models."""
