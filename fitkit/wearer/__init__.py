"""The person: records, survey, head surface, scan."""
