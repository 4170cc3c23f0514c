"""At the bench, before the first night: setting up, checking, and a virtual board to try both."""
