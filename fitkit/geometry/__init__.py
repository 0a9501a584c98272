"""The only door to igl, embreex, manifold3d, scikit-image and trimesh."""
