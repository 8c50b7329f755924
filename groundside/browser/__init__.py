"""The dashboard in browsers: a page, and a dashboard process for each browser that opens it."""
