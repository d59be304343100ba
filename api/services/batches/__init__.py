"""Many results from bytes to bytes, in any format, in parts or on a cluster; no database."""
