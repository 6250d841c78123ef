// SPDX-License-Identifier: Apache-2.0
// What most tests and fuzz targets include anyway (TELLTALE_PRECOMPILED); nobody may rely on it.
#pragma once

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <random>
#include <set>
#include <sstream>
#include <string>
#include <string_view>
#include <vector>

#include <doctest/doctest.h>

#include "telltale/base/hex.hpp"
#include "telltale/base/number.hpp"
#include "telltale/dump/reader.hpp"
#include "telltale/message/stream.hpp"
#include "telltale/vehicle/picture.hpp"
