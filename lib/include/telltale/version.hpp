// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "telltale/version.h" // IWYU pragma: export
