"""The grower's YAML file, read whole, into the types that the rooms below own."""
