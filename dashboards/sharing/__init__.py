"""The pages opened to the local network: SHARING.md says how, and what it does not protect."""
