"""The only door to igl, embreex, manifold3d and trimesh; each known trap is fenced."""
