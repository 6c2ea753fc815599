"""The pages: their routes, what guards them, and what a person does with them in a browser."""
