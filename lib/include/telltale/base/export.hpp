// SPDX-License-Identifier: Apache-2.0
#pragma once

/// Marks what the shared library shows; everything else is hidden.
#if defined(__GNUC__)
#define TELLTALE_API __attribute__((visibility("default")))
#else
#define TELLTALE_API
#endif
