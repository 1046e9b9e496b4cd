"""The farm: what its owner describes (``site``) and what stands in it now (``floor``)."""
