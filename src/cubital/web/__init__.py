"""The pages: server-rendered, each parses what was sent, asks one use case and draws the answer."""
