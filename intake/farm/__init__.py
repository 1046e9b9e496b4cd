"""The farm: what its owner describes (``site``) and what is in it now (``floor``)."""
