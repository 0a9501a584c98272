"""What leaves: report, tables, meshes."""
