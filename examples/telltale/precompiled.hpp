// SPDX-License-Identifier: Apache-2.0
// What most sources of the program include anyway (TELLTALE_PRECOMPILED); nobody may rely on it.
#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <CLI/App.hpp>
#include <CLI/Validators.hpp>

#include "command.hpp"
#include "telltale/catalogue/catalogue.hpp"
#include "telltale/message/stream.hpp"
#include "telltale/vehicle/picture.hpp"
