"""The vat plan: how many animals of each batch stand in which vat, when, and what must leave."""
