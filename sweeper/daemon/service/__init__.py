"""The daemon as a service: put together, logged, watched by the service manager, and cleaned up after."""
