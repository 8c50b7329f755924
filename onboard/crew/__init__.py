"""The crew, who may connect from other machines: keys, tokens, pairing, the encrypted door."""
