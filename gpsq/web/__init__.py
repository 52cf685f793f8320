"""The local page: drop recordings, see the table, open the map, flag. Served to this computer only."""
