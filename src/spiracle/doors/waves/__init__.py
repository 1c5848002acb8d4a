"""The archive of what monitors sent: waves and numbers as they came, kept whole, packed small, given back to the sample."""
