"""The frozen, numbered steps that bring a database from any earlier schema to this one."""
