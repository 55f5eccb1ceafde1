"""Every change, who made it and when, in a chain of hashes that nothing can be taken out of."""
